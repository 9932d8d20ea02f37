"""Details after the call, in three screens a baby; each screen and each answer can be left out."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from referrals import clock, lifecycle, recording
from referrals.acting import By
from referrals.models import Baby, Referral
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.doors import by_of, page
from referrals.pages.forms import PageForm
from transport.pages.attendant_forms import BirthForm, MeasuredForm, NowForm
from transport.pages.cases import baby_of, case_of
from transport.pages.form_page import form_page

LAST_SCREEN = 3


@page
def details(request: HttpRequest, code: str, birth_order: int = 1, screen: int = 1) -> HttpResponse:
    """Details in three screens after the call; each can be left out."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    form = _details_form(request, referral, baby, screen)
    after = _after_screen(referral, baby, screen)

    def tell() -> HttpResponse:
        _tell_details(by_of(request), referral, baby, form, screen)
        return redirect(_after_screen(referral, baby, screen))

    context = {
        "baby": baby,
        "screen": screen,
        "last_screen": LAST_SCREEN,
        "after": after,
        "just_called": screen == 1 and birth_order == 1 and not baby.observations.exists(),
    }
    return form_page(request, referral, form, tell, "transport/attendant/details.html", context)


def _details_form(request: HttpRequest, referral: Referral, baby: Baby, screen: int) -> PageForm:
    data = request.POST or None
    if screen == 1:
        return NowForm(data)
    if screen == 2:
        return MeasuredForm(data)
    return BirthForm(
        data,
        now=clock.now(),
        babies=referral.babies.count(),
        initial={
            "born_at": baby.born_at,
            "sex": baby.sex,
            "ventilates": referral.ventilates,
            "relieves": referral.relieves,
            "alone": {True: "yes", False: "no"}.get(referral.alone, ""),  # type: ignore[arg-type]
        },
    )


def _tell_details(by: By, referral: Referral, baby: Baby, form: PageForm, screen: int) -> None:
    told = form.cleaned_data
    facts = form.facts(BABY_FACTS)
    if facts:
        recording.observe(by, baby, facts)
    if screen == 2 and facts.get("weight_g"):
        recording.describe_baby(by, baby, {"weight_guessed": told["weight_guessed"] == "guessed"})
    if screen == LAST_SCREEN:
        _tell_birth(by, referral, baby, form)


def _tell_birth(by: By, referral: Referral, baby: Baby, form: PageForm) -> None:
    told = form.cleaned_data
    described = {name: told[name] for name in ("born_at", "sex") if told[name]}
    if described:
        recording.describe_baby(by, baby, described)
    facts = form.facts(MOTHER_FACTS)
    if facts:
        recording.observe_mother(by, referral.mother, facts)
    hands = recording.Hands(
        ventilates=told["ventilates"],
        relieves=told["relieves"],
        reports=referral.reports,
        alone={"yes": True, "no": False}.get(told["alone"]),
    )
    if (hands.ventilates, hands.relieves, hands.alone) != (
        referral.ventilates,
        referral.relieves,
        referral.alone,
    ):
        recording.say_who_ventilates(by, referral, hands)
    for _more in range(int(told["babies"] or 1) - referral.babies.count()):
        lifecycle.add_baby(by, referral, lifecycle.BabyTold())


def _after_screen(referral: Referral, baby: Baby, screen: int) -> str:
    """The next screen, then the next baby nothing is known of, then what happens now."""
    start = f"/r/{referral.code}/"
    if screen < LAST_SCREEN:
        return f"{start}details/{baby.birth_order}/{screen + 1}/"
    following = referral.babies.filter(birth_order=baby.birth_order + 1).first()
    if following and not following.observations.exists():
        return f"{start}details/{following.birth_order}/1/"
    return start
