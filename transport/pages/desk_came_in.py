"""The desk's page of what came in and could not be used: read it, ring, deal with it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from referrals import clock
from referrals.access import kept_inputs
from referrals.models import InboundMessage, KeptInput
from referrals.pages import kept, undo
from referrals.pages.doors import page, show, staff_of
from referrals.senders import sender_of
from transport.pages.desk import district_of_desk
from transport.pages.words import OTHER_CHANNELS, word

SHOWN = 100


@page
@require_GET
def index(request: HttpRequest) -> HttpResponse:
    """Everything that waits, the newest first, each with the number to ring."""
    district = district_of_desk(request)
    rows = list(kept_inputs(district)[: SHOWN + 1])
    came_as = InboundMessage.objects.select_related("referral").in_bulk(
        [row.pk for row in rows], field_name="kept_id"
    )
    context = {
        "rows": [_as_shown(row, came_as.get(row.pk)) for row in rows[:SHOWN]],
        "more": len(rows) > SHOWN,
    }
    return show(request, "transport/desk/came_in.html", context, district=district)


@page
@require_POST
def done(request: HttpRequest, kept_id: int) -> HttpResponse:
    """Somebody has dealt with it."""
    row = get_object_or_404(kept_inputs(district_of_desk(request)), pk=kept_id)
    row.dealt_with_at, row.dealt_with_by = clock.now(), staff_of(request).username
    row.save(update_fields=["dealt_with_at", "dealt_with_by"])
    undo.done(request, _("Dealt with."), reverse("desk_kept_undone", args=[row.pk]))
    return redirect("desk_came_in")


@page
@require_POST
def undone(request: HttpRequest, kept_id: int) -> HttpResponse:
    """That was the wrong button: it waits again."""
    rows = kept_inputs(district_of_desk(request), dealt_with=True)
    row = get_object_or_404(rows, pk=kept_id)
    row.dealt_with_at, row.dealt_with_by = None, ""
    row.save(update_fields=["dealt_with_at", "dealt_with_by"])
    return redirect("desk_came_in")


def _as_shown(row: KeptInput, came: InboundMessage | None) -> dict[str, object]:
    number = row.caller if row.caller.startswith("+") else ""
    sender = sender_of(number) if number else None
    return {
        "row": row,
        "channel": word(OTHER_CHANNELS, row.channel),
        "who": (sender.name if sender.is_known else "") if sender else row.caller,
        "number": number,
        "told": kept.in_words(kept.fields_of(row)) if row.channel == "page" else [],
        "referral": came.referral if came else None,
    }
