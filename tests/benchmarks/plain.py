"""The baselines of the position intake: views that do nothing but insert, beside the service's own.

A URL configuration that adds two addresses to the service's, so that both sides run in the same
server, with the same middleware and the same database.
"""

import json
from datetime import datetime
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.urls import include, path
from django.views.decorators.csrf import csrf_exempt


@csrf_exempt
@login_not_required
def plain_one(request: HttpRequest, pk: int) -> JsonResponse:
    """One row, as it comes: no caller, no check, no repeat."""
    from transport.models import Position

    row = Position.objects.create(**_fields(pk, json.loads(request.body)))
    return JsonResponse({"stored": row.pk})


@csrf_exempt
@login_not_required
def plain_many(request: HttpRequest, pk: int) -> JsonResponse:
    """Many rows in one bare ``bulk_create``."""
    from transport.models import Position

    told = json.loads(request.body)["positions"]
    rows = Position.objects.bulk_create(Position(**_fields(pk, one)) for one in told)
    return JsonResponse({"stored": len(rows)})


def _fields(pk: int, told: dict[str, Any]) -> dict[str, Any]:
    at = datetime.fromisoformat(told["happened_at"])
    place = {name: told[name] for name in ("latitude", "longitude", "accuracy_m")}
    return {"transfer_id": pk, "key": told["key"], "recorded_at": at, "received_at": at, **place}


urlpatterns = [
    path("plain/one/<int:pk>/", plain_one),
    path("plain/many/<int:pk>/", plain_many),
    path("", include("referrals.project.urls")),
]
