"""The record of referrals as a Django application."""

from django.apps import AppConfig
from django.utils import translation

from referrals.calc import wording


class ReferralsConfig(AppConfig):
    """Loads the Celery application when Django is ready, so that tasks belong to it."""

    name = "referrals"
    verbose_name = "Referrals"

    def ready(self) -> None:
        """Bind the tasks, the startup checks and the language of the sentences."""
        from referrals import checks, shipped_tables, tables  # noqa: F401
        from referrals.project import celery  # noqa: F401

        tables.provide(shipped_tables.TABLES)
        wording.install(translation.gettext, translation.ngettext)
