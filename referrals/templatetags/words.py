"""Template filters that turn codes and facts into words."""

import uuid
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import parse_qsl

from django import template
from django.contrib.messages.storage.base import Message
from django.template import Context
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from referrals import clock as service_clock
from referrals import labels
from referrals.calc import states, terms, wording

register = template.Library()
CLEAR_WITHOUT_DATE = timedelta(hours=12)
_KINDS = {
    "breathing": terms.Breathing,
    "capability": terms.Capability,
    "decline": terms.DeclineReason,
    "ending": terms.Ending,
    "moment": terms.OutcomeMoment,
    "offer": states.OfferStage,
    "referral": states.ReferralStage,
    "role": terms.Role,
    "urgency": terms.Urgency,
    "channel": terms.EntryChannel,
}


@register.filter
def word(code: str, kind: str) -> str:
    """``{{ baby.ending|word:"ending" }}``."""
    return labels.word_of(_KINDS[kind], code)


@register.filter
def inside(words: str) -> str:
    """Words that stand inside a sentence: ``{{ code|word:"decline"|inside }}``."""
    return labels.inside_a_sentence(words)


@register.filter
def translated(words: str) -> str:
    """Words that are stored in English because they are the service's own: rules, checklists.

    What a district wrote itself is in no catalogue and stays as it is.
    """
    return wording.words(words)


@register.filter
def facts(values: dict[str, Any]) -> list[str]:
    """Every fact of a reading with its name and unit."""
    return [labels.fact_in_words(name, value) for name, value in values.items()]


@register.filter
def clock(moment: datetime | str | None) -> str:
    """Hours and minutes in the district's zone; with the date once that could be another day's."""
    if not moment:
        return _("a time not known")
    if isinstance(moment, str):
        moment = datetime.fromisoformat(moment)
    local = timezone.localtime(moment)
    now = timezone.localtime(service_clock.now())
    if local.date() != now.date() and abs(local - now) >= CLEAR_WITHOUT_DATE:
        return f"{local:%d.%m. %H:%M}"
    return f"{local:%H:%M}"


@register.inclusion_tag("referrals/done.html", takes_context=True)
def done(context: Context, message: Message) -> dict[str, Any]:
    """A line that says what was done, with its 'Undo' where there is one."""
    undo, _mark, fields = (message.extra_tags or "").partition("?")
    return {
        "words": message.message,
        "undo": undo if undo.startswith("/") else "",
        "fields": parse_qsl(fields, keep_blank_values=True),
        "csrf_token": context.get("csrf_token"),
        "key": context.get("key") or uuid.uuid4(),
    }


@register.simple_tag
def ring(number: Any, name: str = "") -> SafeString:
    """A link that rings; nothing when there is no number."""
    if not number:
        return SafeString("")
    text = getattr(number, "as_e164", str(number))
    return format_html(
        '<a class="action second call" href="tel:{}">{} <span dir="ltr">{}</span></a>',
        text,
        _("Call %(name)s") % {"name": name} if name else _("Call"),
        text,
    )
