"""The shape of what the API answers; the published schema is made from the same classes."""

from datetime import datetime
from typing import Any

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from referrals.access import visible_offers, visible_referrals
from referrals.api.rights import may_tell
from referrals.calc import scores
from referrals.calc.quantities import QUANTITIES
from referrals.calc.thermal import classes_of
from referrals.calc.wording import words
from referrals.models import (
    Baby,
    Entry,
    MotherObservation,
    Need,
    Observation,
    Outcome,
    Referral,
    ScoreTaken,
    Staff,
)
from referrals.reading import known_facts
from referrals.saying import offered


def readable_referrals(staff: Staff) -> QuerySet[Referral]:
    """The referrals a person sees, with all that is shown of them fetched in one go."""
    return visible_referrals(staff).prefetch_related(
        "joined_into",
        "joined_from",
        "babies__observations",
        "babies__name",
        "mother__observations",
        Prefetch("needs", queryset=Need.objects.filter(superseded_at=None).order_by("id")),
        Prefetch("offers", queryset=visible_offers(staff)),
    )


def phone_of(row: Any) -> str:
    """A number in international form, or nothing."""
    return row.phone.as_e164 if row.phone else ""


class Phone(serializers.CharField):
    """A telephone number in international form."""

    def to_representation(self, value: Any) -> str:
        """Empty when none is known."""
        return value.as_e164 if value else ""


class WithHead(serializers.Serializer):
    """Answers to verbs carry the head of the referral's timeline."""

    entry_seq = serializers.IntegerField(
        required=False, help_text="Head of the referral's timeline after this."
    )


class KnownFactAnswer(serializers.Serializer):
    """The newest value of one fact and when it was true."""

    value = serializers.JSONField()
    at = serializers.DateTimeField()


def shown_facts(rows: Any) -> dict[str, dict[str, Any]]:
    """Everything known, each value with its time."""
    return {name: {"value": value, "at": at} for name, (value, at) in known_facts(rows).items()}


FACTS = extend_schema_field(serializers.DictField(child=KnownFactAnswer()))


class BabyAnswer(serializers.Serializer):
    """One baby. The name is shown to the post, the desk and the unit that takes the baby."""

    code = serializers.CharField()
    birth_order = serializers.IntegerField()
    name = serializers.SerializerMethodField()
    sex = serializers.CharField()
    born_at = serializers.DateTimeField(allow_null=True)
    ventilated_since = serializers.DateTimeField(allow_null=True)
    ending = serializers.CharField(allow_blank=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    facts = serializers.SerializerMethodField()

    def get_name(self, baby: Baby) -> str:
        """The name for those who may know it."""
        if not baby.name or not may_tell(self.context["view"].scope, baby.referral):
            return ""
        return baby.name.text

    @FACTS
    def get_facts(self, baby: Baby) -> dict[str, Any]:
        """What is known now."""
        return shown_facts(baby.observations.all())


class BabyEndedAnswer(BabyAnswer, WithHead):
    """The baby after a verb about its ending."""


class MotherAnswer(serializers.Serializer):
    """The mother, without a name."""

    age_years = serializers.IntegerField(allow_null=True)
    travels = serializers.BooleanField(allow_null=True, help_text="Null: nobody has told.")
    facts = serializers.SerializerMethodField()

    @FACTS
    def get_facts(self, mother: Any) -> dict[str, Any]:
        """What is known now."""
        return shown_facts(mother.observations.all())


class MotherToldAnswer(MotherAnswer, WithHead):
    """The mother after something was told of her."""


class BabyToldAnswer(BabyAnswer, WithHead):
    """A baby after something was told of it."""


class BabyAddedAnswer(BabyAnswer, WithHead):
    """A baby that was not told of at the raise."""


class HandsAnswer(WithHead):
    """Who does what at the bedside, as told last."""

    ventilates = serializers.CharField(allow_blank=True)
    relieves = serializers.CharField(allow_blank=True)
    reports = serializers.CharField(allow_blank=True)
    alone = serializers.BooleanField(allow_null=True)


class OwnWords(serializers.CharField):
    """Words that are stored in English because they are the service's own, in the reader's."""

    def to_representation(self, value: str) -> str:
        """What a district wrote itself is in no catalogue and stays as it is."""
        return words(value)


class NeedAnswer(WithHead):
    """Care that is needed, and the rule that says so."""

    id = serializers.IntegerField()
    rule = serializers.CharField()
    words = OwnWords()
    source = serializers.CharField()  # type: ignore[assignment]
    capabilities = serializers.ListField(child=serializers.CharField())
    preferred_capabilities = serializers.ListField(child=serializers.CharField())
    urgency = serializers.CharField()
    limit_minutes = serializers.FloatField(allow_null=True)
    derived_at = serializers.DateTimeField()
    overridden_by = serializers.CharField(allow_blank=True)
    override_reason = serializers.CharField(allow_blank=True)


class OfferAnswer(WithHead):
    """The question to one unit and where it stands."""

    id = serializers.IntegerField()
    referral = serializers.CharField(source="referral.code")
    unit = serializers.CharField(source="unit.code")
    unit_name = serializers.CharField(source="unit")
    stage = serializers.CharField()
    asked_at = serializers.DateTimeField()
    answered_at = serializers.DateTimeField(allow_null=True)
    answered_by = serializers.CharField(allow_blank=True)
    decline_reason = serializers.CharField(allow_blank=True)
    receiver = serializers.CharField(allow_blank=True)
    entrance = serializers.CharField(allow_blank=True)
    reconfirmed_at = serializers.DateTimeField(allow_null=True)
    reconfirmed_by = serializers.CharField(allow_blank=True)
    shown = serializers.DictField(help_text="The candidate as it was shown when asked.")


class ReferralAnswer(serializers.Serializer):
    """A referral as the reader may see it; a unit sees its own question only."""

    code = serializers.CharField()
    stage = serializers.CharField()
    urgency = serializers.CharField()
    site = serializers.CharField(source="origin.code")
    site_name = serializers.CharField(source="origin.name")
    site_phone = Phone(source="origin.phone")
    district = serializers.CharField(source="district.code")
    raised_at = serializers.DateTimeField()
    closed_at = serializers.DateTimeField(allow_null=True)
    alone = serializers.BooleanField(allow_null=True)
    babies = BabyAnswer(many=True)
    mother = MotherAnswer()
    needs = NeedAnswer(many=True)
    offers = OfferAnswer(many=True)
    joined_into = serializers.SerializerMethodField()
    joined_from = serializers.SerializerMethodField()
    entry_seq = serializers.IntegerField(source="head_seq")

    def get_joined_into(self, referral: Referral) -> str | None:
        """The code under which the same baby goes on."""
        return referral.joined_into.code if referral.joined_into else None

    def get_joined_from(self, referral: Referral) -> list[str]:
        """The codes of the same baby that were closed into this one."""
        return [joined.code for joined in referral.joined_from.all()]


class WithdrawnAnswer(WithHead):
    """Whether something told was taken back, by whom and why."""

    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_by = serializers.CharField(allow_blank=True)
    withdrawn_because = serializers.SerializerMethodField()

    def get_withdrawn_because(self, row: Any) -> str:
        """The reason that was told."""
        return row.withdrawn_why.text if row.withdrawn_why else ""


class MendedAnswer(WithdrawnAnswer):
    """Something told, and the entry it corrects; the newest one stands."""

    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)


class ObservationAnswer(MendedAnswer):
    """One reading as it was told."""

    id = serializers.IntegerField()
    baby = serializers.SerializerMethodField()
    mother = serializers.SerializerMethodField()
    observed_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    observed_by = serializers.CharField()
    facts = serializers.SerializerMethodField()
    thermal = serializers.SerializerMethodField(
        help_text="The class of the temperature, by the scheme that draws the lines."
    )
    note = serializers.SerializerMethodField()

    def get_thermal(self, row: Observation | MotherObservation) -> dict[str, str]:
        """Under both schemes; empty without a temperature."""
        return classes_of(row.facts().get("temperature_c"))

    def get_baby(self, row: Observation | MotherObservation) -> int | None:
        """The birth order; nothing for the mother."""
        return row.baby.birth_order if isinstance(row, Observation) else None

    def get_mother(self, row: Observation | MotherObservation) -> bool:
        """Whether it is about the mother."""
        return isinstance(row, MotherObservation)

    def get_facts(self, row: Observation | MotherObservation) -> dict[str, Any]:
        """The values told."""
        return row.facts()

    def get_note(self, row: Observation | MotherObservation) -> str:
        """The words beside them."""
        return row.note.text if row.note else ""


class TreatmentAnswer(MendedAnswer):
    """What was given, as told."""

    id = serializers.IntegerField()
    baby = serializers.SerializerMethodField()
    words = serializers.CharField(source="told.text")
    given_at = serializers.DateTimeField(allow_null=True)
    given_by = serializers.CharField(allow_blank=True)
    recorded_by = serializers.CharField()
    recorded_at = serializers.DateTimeField()

    def get_baby(self, row: Any) -> int | None:
        """The birth order; nothing for the mother."""
        return row.baby.birth_order if row.baby else None


class AdviceAnswer(MendedAnswer):
    """Advice as it was recorded."""

    id = serializers.IntegerField()
    given_by = serializers.CharField()
    asked_by = serializers.CharField(allow_blank=True)
    words = serializers.CharField(source="text.text")
    read_back = serializers.BooleanField()
    is_decision = serializers.BooleanField()
    recorded_by = serializers.CharField(allow_blank=True)
    recorded_at = serializers.DateTimeField()


class ItemAnswer(serializers.Serializer):
    """One item of a score. ``value``, ``by`` and ``at`` are empty while it is missing."""

    item = serializers.CharField()
    value = serializers.JSONField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    points = serializers.IntegerField(allow_null=True)
    by = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField(allow_null=True)


class ScoreAnswer(MendedAnswer):
    """A score as it was taken; ``total`` is null as long as an item is ``missing``."""

    id = serializers.IntegerField()
    baby = serializers.SerializerMethodField()
    score = serializers.CharField(source="kind")
    minute = serializers.IntegerField(allow_null=True)
    scored_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    scored_by = serializers.CharField()
    help_given = serializers.BooleanField(allow_null=True)
    total = serializers.IntegerField(allow_null=True)
    missing = serializers.SerializerMethodField()
    items = serializers.SerializerMethodField()
    words = serializers.SerializerMethodField()
    published_for = serializers.SerializerMethodField()
    source = serializers.SerializerMethodField()  # type: ignore[assignment]

    def get_baby(self, row: ScoreTaken) -> int:
        """The birth order."""
        return row.baby.birth_order

    def get_missing(self, row: ScoreTaken) -> list[str]:
        """The items of which nothing was told."""
        return [item.code for item in row.score().items if item.code not in row.items]

    @extend_schema_field(ItemAnswer(many=True))
    def get_items(self, row: ScoreTaken) -> list[dict[str, Any]]:
        """Every item of the score, in its order."""
        return [_item_answer(row, item) for item in row.score().items]

    def get_words(self, row: ScoreTaken) -> str:
        """The total within its range, or which items are missing."""
        return row.in_words()

    def get_published_for(self, row: ScoreTaken) -> str:
        """What the score was published for."""
        return words(row.score().published_for)

    def get_source(self, row: ScoreTaken) -> str:
        """Where it was published."""
        return words(row.score().source)


def _item_answer(row: ScoreTaken, item: scores.Item) -> dict[str, Any]:
    found = row.items.get(item.code, {})
    quantity = found.get("quantity") or item.quantity
    return {
        "item": item.code,
        "value": found.get("value"),
        "unit": words(QUANTITIES[quantity].unit) if quantity else "",
        "points": row.points.get(item.code),
        "by": found.get("by", ""),
        "at": found.get("at"),
    }


class OutcomeAnswer(MendedAnswer):
    """How it went."""

    id = serializers.IntegerField()
    baby = serializers.SerializerMethodField()
    moment = serializers.CharField(allow_blank=True)
    state = serializers.CharField()
    words = serializers.CharField(source="words.text")
    learn = serializers.SerializerMethodField()
    told_by = serializers.CharField()
    told_at = serializers.DateTimeField()
    read_at = serializers.DateTimeField(allow_null=True)

    def get_baby(self, row: Outcome) -> int:
        """The birth order."""
        return row.baby.birth_order

    def get_learn(self, row: Outcome) -> str:
        """What to learn from it; empty when nothing was told."""
        return str(row.learn or "")


class EntryAnswer(serializers.Serializer):
    """One line of the timeline, with its place in the chain."""

    seq = serializers.IntegerField()
    kind = serializers.CharField()
    actor = serializers.CharField()
    channel = serializers.CharField()
    happened_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    corrected_at = serializers.DateTimeField()
    body = serializers.SerializerMethodField()
    previous_hash = serializers.CharField()
    hash = serializers.CharField()

    def get_body(self, entry: Entry) -> dict[str, Any]:
        """What was changed; texts that may name somebody stand as commitments."""
        return entry.body


class SiteAnswer(serializers.Serializer):
    """A place."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    phone = Phone()


class UnitAnswer(serializers.Serializer):
    """A receiving unit, with what it can do and its free cots."""

    code = serializers.CharField()
    name = serializers.CharField()
    site = serializers.CharField(source="site.code")
    level = serializers.CharField()
    capabilities = serializers.ListField(child=serializers.CharField())
    cots_total = serializers.IntegerField()
    cots_free = serializers.IntegerField()
    cots_reported_at = serializers.DateTimeField(allow_null=True)
    is_open = serializers.BooleanField()
    entrance = serializers.CharField(allow_blank=True)
    phone = Phone()
    shift_changes = serializers.ListField(child=serializers.CharField())


class AlertAnswer(WithHead):
    """Something a person must deal with."""

    id = serializers.IntegerField()
    kind = serializers.CharField()
    sentence = serializers.CharField()
    path = serializers.CharField(allow_blank=True)
    urgency = serializers.CharField()
    referral = serializers.SerializerMethodField()
    offer = serializers.IntegerField(source="offer_id", allow_null=True)
    needs_answer = serializers.BooleanField()
    for_desk = serializers.BooleanField()
    step = serializers.IntegerField()
    round = serializers.IntegerField()
    raised_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(allow_null=True)
    acknowledged_at = serializers.DateTimeField(allow_null=True)
    acknowledged_by = serializers.CharField(allow_blank=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_reason = serializers.CharField(allow_blank=True)

    def get_referral(self, row: Any) -> str | None:
        """The case code."""
        return row.referral.code if row.referral else None


class RoleAnswer(serializers.Serializer):
    """One role of the person who asks."""

    role = serializers.CharField()
    district = serializers.CharField(source="district.code")
    site = serializers.SerializerMethodField()
    unit = serializers.SerializerMethodField()

    def get_site(self, row: Any) -> str | None:
        """Code of the site."""
        return row.site.code if row.site else None

    def get_unit(self, row: Any) -> str | None:
        """Code of the unit."""
        return row.unit.code if row.unit else None


class MeAnswer(serializers.Serializer):
    """Who is asking, and what time the server has."""

    username = serializers.CharField()
    name = serializers.CharField(source="display_name")
    language = serializers.SerializerMethodField()
    roles = RoleAnswer(many=True)
    server_time = serializers.SerializerMethodField()

    def get_language(self, staff: Staff) -> str:
        """The person's own, or that of the deployment."""
        return offered(staff.language)

    def get_server_time(self, staff: Staff) -> datetime:
        """The server's clock, for a device to know its own offset."""
        return self.context["now"]
