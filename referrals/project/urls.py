"""The whole site map. The journey side is joined by name, not by import."""

from django.conf import settings
from django.contrib import admin
from django.urls import include, path

from referrals.pages import health

handler500 = "referrals.pages.refusals.fault"
urlpatterns = [
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("sweepz", health.sweepz, name="sweepz"),
    path("admin/", admin.site.urls),
    path("api/v1/", include("transport.api.urls")),
    path("", include("transport.pages.urls")),
    path("", include("referrals.pages.urls")),
]
if settings.DEMO:
    urlpatterns.append(path("demo/", include("fixtures_demo.phones.urls")))
