"""The journey as a Django application."""

from django.apps import AppConfig


class TransportConfig(AppConfig):
    """Fills the places that ``referrals`` keeps for the journey."""

    name = "transport"
    verbose_name = "Transport"

    def ready(self) -> None:
        """Join the two packages."""
        from referrals import ports, tables
        from transport.reactions import TransportJourneys
        from transport.shipped_tables import TABLES

        ports.fill(TransportJourneys())
        tables.provide(TABLES)
