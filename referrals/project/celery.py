"""The Celery application, and nothing else."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "referrals.project.settings")

app = Celery("littleroad")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
