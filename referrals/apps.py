"""The record of referrals as a Django application."""

from django.apps import AppConfig


class ReferralsConfig(AppConfig):
    """Loads the Celery application when Django is ready, so that tasks belong to it."""

    name = "referrals"
    verbose_name = "Referrals"

    def ready(self) -> None:
        """Bind the tasks and the startup checks."""
        from referrals import checks  # noqa: F401
        from referrals.project import celery  # noqa: F401
