"""The service as its WSGI module makes it, with the baselines of ``plain.py`` beside it."""

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")

from django.conf import settings

settings.ROOT_URLCONF = "plain"

from referrals.project.wsgi import application  # noqa: E402

__all__ = ["application"]
