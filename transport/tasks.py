"""Celery tasks of the journey. Sending and sweeping are tasks of ``referrals``."""
