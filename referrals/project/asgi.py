"""The server's door for streams, and for everything in the embedded service."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")

application = get_asgi_application()
