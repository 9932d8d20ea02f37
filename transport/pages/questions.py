"""What the attendant is asked, one question a screen: a table, and what follows from it.

The order is what changes the destination first. Two values stand in one question only where they
belong together. A question with a list of words is answered by one press.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals.calc.terms import Support
from referrals.describing import Hands
from referrals.labels import FIELDS, SEXES, Text, value_in_words
from referrals.models import Baby, Mother, Referral
from referrals.pages.forms import (
    NOT_KNOWN,
    ChoiceOf,
    ClockTime,
    Glucose,
    PageForm,
    Quantity,
    Words,
    YesNo,
)
from referrals.reading import WORDS, known_facts


class Of(StrEnum):
    """Whom a question is about."""

    BABY = "baby"
    MOTHER = "mother"
    ALL = "all"


@dataclass(frozen=True)
class Question:
    """One screen. ``after`` names a fact and the words after which alone it is asked."""

    code: str
    of: Of
    words: Text
    fields: tuple[str, ...]
    after: tuple[str, frozenset[str]] | None = None
    help: Text = ""

    def is_for(self, known: Mapping[str, Any]) -> bool:
        """Whether it is worth asking; as long as nobody has told, it is."""
        if self.after is None or not known.get(self.after[0]):
            return True
        return known[self.after[0]] in self.after[1]


BREATHING = Question(
    "breathing", Of.BABY, gettext_lazy("How does the baby breathe?"), ("breathing",)
)
HEART = Question(
    "heart", Of.BABY, gettext_lazy("Heartbeats in a minute, felt or heard?"), ("heart_rate_band",)
)
COLOUR = Question("colour", Of.BABY, gettext_lazy("Which colour is the baby?"), ("colour",))
TEMPERATURE = Question(
    "temperature", Of.BABY, gettext_lazy("What is the baby's temperature?"), ("temperature_c",)
)
METER = Question(
    "meter",
    Of.BABY,
    gettext_lazy("What does the oxygen meter on the skin show?"),
    ("spo2", "heart_rate"),
)
FLOW = Question(
    "flow",
    Of.BABY,
    gettext_lazy("How much oxygen flows?"),
    ("oxygen_flow_l_min", "fio2"),
    help=gettext_lazy("Write what is known; where nothing is blended, the flow alone."),
    after=(
        "support",
        frozenset({"bag_and_mask_oxygen", "oxygen_by_prongs", "cpap", "ventilator"}),
    ),
)

AFTER_THE_CALL: tuple[Question, ...] = (
    BREATHING,
    Question("support", Of.BABY, gettext_lazy("What helps the baby breathe?"), ("support",)),
    Question(
        "chest",
        Of.BABY,
        gettext_lazy("Does the chest rise with each squeeze?"),
        ("chest_moving",),
        after=("breathing", frozenset({"ventilated"})),
    ),
    HEART,
    COLOUR,
    Question(
        "fits", Of.BABY, gettext_lazy("Has the baby had convulsions (fits)?"), ("convulsions",)
    ),
    Question("touch", Of.BABY, gettext_lazy("How does the baby answer to touch?"), ("response",)),
    Question(
        "hands",
        Of.ALL,
        gettext_lazy("Whose hands are there?"),
        ("ventilates", "relieves", "reports", "alone"),
        help=gettext_lazy(
            "Names, if there is time. The desk asks whoever reports, never who ventilates."
        ),
    ),
    TEMPERATURE,
    Question(
        "weight", Of.BABY, gettext_lazy("How heavy is the baby?"), ("weight_g", "weight_guessed")
    ),
    Question(
        "gestation", Of.BABY, gettext_lazy("How many weeks of pregnancy?"), ("gestation_weeks",)
    ),
    Question("bleeding", Of.MOTHER, gettext_lazy("Does the mother bleed?"), ("bleeding",)),
    Question("placenta", Of.MOTHER, gettext_lazy("Has the placenta come?"), ("placenta",)),
    Question("awake", Of.MOTHER, gettext_lazy("Is the mother awake?"), ("consciousness",)),
    Question(
        "pressure",
        Of.MOTHER,
        gettext_lazy("What is the mother's blood pressure?"),
        ("systolic_mmhg", "diastolic_mmhg"),
    ),
    Question(
        "travels", Of.MOTHER, gettext_lazy("Does the mother travel with the baby?"), ("travels",)
    ),
    METER,
    FLOW,
    Question(
        "began",
        Of.BABY,
        gettext_lazy("When did ventilation begin?"),
        ("ventilated_since",),
        after=("breathing", frozenset({"ventilated"})),
    ),
    Question(
        "since",
        Of.BABY,
        gettext_lazy("Since when is the baby helped like this?"),
        ("support_since",),
        after=("support", frozenset(Support) - {Support.NONE}),
    ),
    Question(
        "glucose",
        Of.BABY,
        gettext_lazy("What is the baby's glucose, if it was measured?"),
        ("glucose", "glucose_unit"),
    ),
    Question(
        "refill",
        Of.BABY,
        gettext_lazy("Press the breastbone for 5 seconds: how long until it is pink again?"),
        ("capillary_refill_s",),
    ),
    Question("born", Of.BABY, gettext_lazy("When was the baby born?"), ("born_at",)),
    Question("sex", Of.BABY, gettext_lazy("Is the baby a girl or a boy?"), ("sex",)),
    Question("age", Of.MOTHER, gettext_lazy("How old is the mother?"), ("age_years",)),
    Question(
        "note", Of.MOTHER, gettext_lazy("Is there anything to add about the mother?"), ("note",)
    ),
)

GAUGE = Question(
    "gauge", Of.BABY, gettext_lazy("What does the oxygen gauge show?"), ("oxygen_bar",)
)
"""In the unit of the gauges that are aboard."""

SHORT_CHECK: tuple[Question, ...] = (BREATHING, HEART, COLOUR, GAUGE, TEMPERATURE)
"""Every 15 minutes on the way; the temperature once an hour."""

MORE_OF_A_CHECK: tuple[Question, ...] = (
    METER,
    FLOW,
    Question("stopped", Of.BABY, gettext_lazy("Why have you stopped?"), ("stopped_because",)),
)


class QuestionForm(PageForm):
    """The form of one question. Its list of words, if it has one, is pressed to send it."""

    def __init__(
        self,
        question: Question,
        data: Any = None,
        *,
        now: datetime,
        known: Mapping[str, Any],
        prefix: str = "",
    ) -> None:
        super().__init__(data, initial=dict(known), auto_id=f"{prefix}{question.code}-%s")
        for name in question.fields:
            self.fields[name] = field_of(name, now)

    def pressed(self) -> forms.BoundField | None:
        """The field whose words are the buttons."""
        return next((each for each in self if isinstance(each.field, forms.ChoiceField)), None)

    def answers(self) -> list[tuple[str, str, bool]]:
        """Code and words of each button, and whether that was told before."""
        pressed = self.pressed()
        if pressed is None:
            return []
        field = cast(forms.ChoiceField, pressed.field)
        told = field.prepare_value(self.initial.get(pressed.name))
        offered = cast(Iterable[tuple[str, Text]], field.choices)
        return [(code, str(words), code == told) for code, words in offered if code]

    def typed(self) -> list[forms.BoundField]:
        """The fields to be filled in."""
        return [each for each in self if not isinstance(each.field, forms.ChoiceField)]


class OneOf(forms.ChoiceField):
    """Words that stand in no list of the record; ``means`` says what is stored for each."""

    def __init__(self, label: Text, words: Iterable[tuple[str, Text]], means: Mapping[str, Any]):
        super().__init__(label=label, choices=list(words), required=False)
        self.means = means

    def prepare_value(self, value: Any) -> Any:
        """The word for what is stored."""
        return next((word for word, stored in self.means.items() if stored == value), value)

    def clean(self, value: Any) -> Any:
        """What is stored for the word that was pressed; nothing when none was."""
        word = super().clean(value)
        return self.means[word] if word else None


def field_of(name: str, now: datetime) -> forms.Field:
    """The field for one fact, wherever it is asked."""
    if name in WORDS:
        return ChoiceOf(WORDS[name], FIELDS[name])
    if name in ("chest_moving", "convulsions", "travels"):
        return YesNo(FIELDS[name])
    if name in _OTHER_FIELDS:
        return _OTHER_FIELDS[name](now)
    return Glucose(FIELDS[name]) if name == "glucose" else Quantity(name, FIELDS[name])


_OTHER_FIELDS: Mapping[str, Any] = {
    "sex": lambda now: forms.ChoiceField(
        label=FIELDS["sex"], choices=[*SEXES.items(), NOT_KNOWN], required=False
    ),
    "born_at": lambda now: ClockTime(_("Time of birth"), now),
    "ventilated_since": lambda now: ClockTime(_("First breath by bag and mask at"), now),
    "support_since": lambda now: ClockTime(FIELDS["support_since"], now),
    "weight_guessed": lambda now: OneOf(
        _("The weight is"),
        [("measured", _("It was weighed")), ("guessed", _("It is a guess"))],
        {"measured": False, "guessed": True},
    ),
    "alone": lambda now: OneOf(
        _("Whose hands are there?"),
        [("no", _("There are others with me")), ("yes", _("I am alone: please ring me"))],
        {"no": False, "yes": True},
    ),
    "ventilates": lambda now: Words(_("Who ventilates"), lines=1),
    "relieves": lambda now: Words(_("Who can relieve"), lines=1),
    "reports": lambda now: Words(_("Who reports to the desk"), lines=1),
    "note": lambda now: Words(_("Anything to add"), lines=2),
    "stopped_because": lambda now: Words(_("We have stopped because"), lines=1),
}


@dataclass(frozen=True, eq=False)
class Step:
    """One question about one baby, the mother or all, with what was told before."""

    question: Question
    whose: str
    label: str
    path: str
    known: Mapping[str, Any]
    form: QuestionForm
    number: int = 0
    count: int = 0
    baby: Baby | None = None

    @property
    def is_asked(self) -> bool:
        """Whether it has a place in the row of questions."""
        return self.number > 0

    @property
    def is_answered(self) -> bool:
        """Whether anything was told."""
        return bool(self.told())

    @property
    def place(self) -> str:
        """Its name within the page."""
        return f"{self.whose}-{self.question.code}"

    def told(self) -> list[str]:
        """What was told before, in words."""
        told = {name: self.known.get(name) for name in self.question.fields}
        if told.get("alone"):
            return [_("One person is alone")]
        if told.pop("alone", None) is False and not any(told.values()):
            return [_("There are others")]
        return [in_words(name, value) for name, value in told.items() if value not in (None, "")]


def in_words(name: str, value: Any) -> str:
    """A told value, with the name of its field where the value alone would not say it."""
    if name == "weight_guessed":
        return _("a guess") if value else _("weighed")
    words = value_in_words(name, value)
    if name in ("ventilates", "relieves", "reports", "spo2", "heart_rate", "fio2", "support_since"):
        return f"{field_of(name, timezone.now()).label}: {words}"
    return words


def known_of(whose: Baby | Mother | Referral) -> dict[str, Any]:
    """What was told of a baby, the mother or the hands, by the names of the questions' fields."""
    if isinstance(whose, Referral):
        hands = Hands.of(whose)
        return {**dict(hands.names()), "alone": hands.alone}
    known = {name: value for name, (value, _at) in known_facts(whose.observations.all()).items()}
    if isinstance(whose, Mother):
        note = whose.observations.standing().exclude(note=None).last()
        known |= {"age_years": whose.age_years, "travels": whose.travels}
        return known | {"note": str(note.note) if note else ""}
    guessed = {"weight_guessed": whose.weight_guessed} if "weight_g" in known else {}
    born = {"born_at": whose.born_at, "ventilated_since": whose.ventilated_since}
    return known | {**born, "sex": whose.sex, **guessed}


@dataclass(frozen=True)
class Asked:
    """Somebody of whom is asked: how the pages call them, and what was told."""

    of: Of
    whose: str
    label: str
    known: Mapping[str, Any]
    baby: Baby | None = None


def everybody_of(referral: Referral) -> list[Asked]:
    """The babies on the way, the mother, and the hands at the bedside."""
    asked = [
        Asked(Of.BABY, str(baby.birth_order), baby.code, known_of(baby), baby)
        for baby in referral.babies.filter(ending="").prefetch_related("observations")
    ]
    asked.append(Asked(Of.MOTHER, "mother", _("The mother"), known_of(referral.mother)))
    return [*asked, Asked(Of.ALL, "all", _("At the bedside"), known_of(referral))]


NOBODY_YET = (
    Asked(Of.BABY, "1", gettext_lazy("The baby"), {}),  # type: ignore[arg-type]
    Asked(Of.MOTHER, "mother", gettext_lazy("The mother"), {}),  # type: ignore[arg-type]
    Asked(Of.ALL, "all", gettext_lazy("At the bedside"), {}),  # type: ignore[arg-type]
)
"""Of whom a phone asks whose call for help has not reached us yet."""


def steps_of(
    questions: Iterable[Question], asked: Iterable[Asked], address: str, now: datetime
) -> list[Step]:
    """Every question about everybody, in the order of the table, numbered where it is asked.

    ``address`` becomes the path of a step by its ``whose`` and ``question``.
    """
    people = list(asked)
    made = [
        (question, one, question.is_for(one.known))
        for question in questions
        for one in people
        if question.of is one.of
    ]
    count = sum(is_asked for _question, _one, is_asked in made)
    steps: list[Step] = []
    number = 0
    for question, one, is_asked in made:
        number += is_asked
        steps.append(
            Step(
                question=question,
                whose=one.whose,
                label=str(one.label),
                path=address.format(whose=one.whose, question=question.code),
                known=one.known,
                form=QuestionForm(question, now=now, known=one.known, prefix=f"{one.whose}-"),
                number=number if is_asked else 0,
                count=count,
                baby=one.baby,
            )
        )
    return steps


def unanswered(steps: Iterable[Step]) -> Iterator[Step]:
    """Those that are asked and not answered yet."""
    return (step for step in steps if step.is_asked and not step.is_answered)
