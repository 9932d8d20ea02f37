"""The server's door for ordinary requests when the service outgrows one machine."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")

application = get_wsgi_application()
