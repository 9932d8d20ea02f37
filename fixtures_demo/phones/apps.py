"""The demo's telephone exchange as a Django application."""

from django.apps import AppConfig


class PhonesConfig(AppConfig):
    """Installed only in the demo and in tests."""

    name = "fixtures_demo.phones"
    label = "demo_phones"
    verbose_name = "Demo phones"
    default_auto_field = "django.db.models.BigAutoField"
