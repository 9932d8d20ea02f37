"""When the chest does not move: one step a screen, read aloud by a helper, answered by one tap."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from referrals import clock, ventilating
from referrals.calc.chest_steps import CHEST_STEPS, STEP_OF
from referrals.pages.doors import by_of, show
from referrals.pages.from_phone import phone_page
from referrals.recording import UnknownFact
from transport.pages.breaths import tried_lines
from transport.pages.cases import baby_of, case_of
from transport.pages.mending import told_done


@phone_page
def chest(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The step to read out now; a press writes down what the chest did and goes on."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    status = 200
    if request.method == "POST":
        moves = request.POST.get("moves") == "yes"
        try:
            row = ventilating.try_step(
                by_of(request), baby, request.POST.get("step", ""), chest_moves=moves
            )
        except UnknownFact:
            status = 422
        else:
            if not moves:
                return redirect("chest", referral.code, baby.birth_order)
            here = f"/r/{referral.code}/"
            told_done(request, _("Written down: the chest moves."), here, "chest", row)
            return redirect("attendant_case", code=referral.code)
    named = STEP_OF.get(request.GET.get("step", ""))
    first = CHEST_STEPS[0] if "again" in request.GET else None
    context = {
        "referral": referral,
        "baby": baby,
        "steps": CHEST_STEPS,
        "step": first or named or ventilating.step_to_try(baby, clock.now()),
        "tried": tried_lines(baby),
        "accepted": referral.accepted_offer(),
    }
    template = "transport/attendant/chest.html"
    return show(request, template, context, district=referral.district, status=status)
