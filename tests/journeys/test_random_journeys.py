"""Random valid and invalid actions, one after another: whatever happens, the invariants hold."""

from collections import Counter
from datetime import timedelta

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from world import BAGGED, told_by

from fixtures_demo.load import load_district
from referrals import clock, cots, lifecycle, recording, sweeping, timeline, watching
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Baby, Offer, Referral, Site, Unit
from transport import lifecycle as journeys
from transport.calc.stages import MILESTONES
from transport.models import Transfer, Vehicle

UNITS = ["ORL-NB", "KES-NB", "BAN-NB", "THO-NB"]
VEHICLES = ["AMB-1", "AMB-2"]
index = st.integers(0, 3)


class District(RuleBasedStateMachine):
    """Attendants, units, drivers and the desk press whatever they like, in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.moment = clock.now()
        self.refused = 0

    def by(self, username="leena.morrastad"):
        return told_by(username, self.moment)

    def some(self, model, number):
        rows = list(model.objects.order_by("pk"))
        return rows[number % len(rows)] if rows else None

    def tries(self, verb):
        """A refusal is an answer too; anything else that is raised is a fault."""
        try:
            verb()
        except NotPossible as refusal:
            assert refusal.sentence
            self.refused += 1

    @rule(minutes=st.integers(1, 40))
    def time_passes_and_the_sweep_runs(self, minutes):
        self.moment += timedelta(minutes=minutes)
        for referral in Referral.objects.to_look_at(self.moment):
            watching.look_at(referral.pk, self.moment)
        for alert in Alert.objects.due(self.moment):
            sweeping.take_step(alert.pk, self.moment)

    @initialize(babies=st.integers(1, 2))
    def two_posts_call(self, babies):
        self.raise_one(babies)
        self.raise_one(1)

    @rule(babies=st.integers(1, 2))
    def raise_another(self, babies):
        if Referral.objects.count() < 3:
            self.raise_one(babies)

    def raise_one(self, babies):
        lifecycle.raise_referral(
            self.by("tomasi.bellaqua"),
            origin=Site.objects.get(code="MRW"),
            babies=[lifecycle.BabyTold(facts=dict(BAGGED)) for _ in range(babies)],
        )

    @rule(number=index, unit=st.sampled_from(UNITS))
    def ask(self, number, unit):
        if referral := self.some(Referral, number):
            self.tries(lambda: lifecycle.ask(self.by(), referral, Unit.objects.get(code=unit)))

    @rule(number=index)
    def accept(self, number):
        if offer := self.some(Offer, number):
            self.tries(lambda: lifecycle.accept(self.by("hana.wendorra"), offer))

    @rule(number=index, how=st.sampled_from(["decline", "withdraw", "divert"]))
    def turn_away(self, number, how):
        offer = self.some(Offer, number)
        if offer is None:
            return
        by = self.by()
        verbs = {
            "decline": lambda: lifecycle.decline(by, offer, reason=DeclineReason.NO_STAFF),
            "withdraw": lambda: lifecycle.withdraw(by, offer, why="another plan"),
            "divert": lambda: lifecycle.divert(by, offer.referral, why="unit is full"),
        }
        self.tries(verbs[how])

    @rule(number=index, vehicle=st.sampled_from(VEHICLES))
    def assign(self, number, vehicle):
        if transfer := self.some(Transfer, number):
            wanted = Vehicle.objects.get(code=vehicle)
            self.tries(lambda: journeys.assign(self.by(), transfer, wanted))

    @rule(number=index, vehicle=st.sampled_from(VEHICLES), how=st.integers(0, 3))
    def keep_house(self, number, vehicle, how):
        """What happens now and then: cots counted, a vehicle broken, cleaned, an ending undone."""
        transfer, baby = self.some(Transfer, number), self.some(Baby, number)
        if how == 0:
            cots.report_cots(self.by(), Unit.objects.get(code=UNITS[number]), cots_free=number)
        elif how == 1:
            ready = Vehicle.objects.get(code=vehicle)
            self.tries(lambda: journeys.vehicle_ready(self.by(), ready))
        elif how == 2 and transfer:
            self.tries(lambda: journeys.unassign(self.by(), transfer, why="tyre", broken=True))
        elif baby:
            self.tries(lambda: lifecycle.reverse_ending(self.by(), baby, reason="wrong baby"))

    @rule(number=index, milestone=st.sampled_from(MILESTONES), late=st.integers(0, 90))
    def reach(self, number, milestone, late):
        if transfer := self.some(Transfer, number):
            by = told_by("mateus.dunnaway", self.moment - timedelta(minutes=late))
            self.tries(lambda: journeys.reach(by, transfer, milestone))

    @rule(number=index, milestone=st.none() | st.sampled_from(MILESTONES))
    def withdraw_a_milestone(self, number, milestone):
        if transfer := self.some(Transfer, number):
            by = self.by("mateus.dunnaway")
            self.tries(lambda: journeys.withdraw_milestone(by, transfer, milestone))

    @rule(number=index, rate=st.integers(-5, 400))
    def observe(self, number, rate):
        baby = self.some(Baby, number)
        if baby is None:
            return
        try:
            recording.observe(self.by("tomasi.bellaqua"), baby, {"heart_rate": rate})
        except ImpossibleQuantity:
            assert rate < 0 or rate > 350

    @rule(number=index, ending=st.sampled_from(Ending), rarely=st.integers(0, 2))
    def end(self, number, ending, rarely):
        baby = self.some(Baby, number)
        if rarely == 0 and baby and ending is not Ending.HANDED_OVER:
            told = {"determined_by": "Dr Wendorra", "band": baby.code}
            self.tries(lambda: lifecycle.end_baby(self.by(), baby, ending, **told))

    @rule(number=index, side=st.sampled_from(["giver", "receiver"]))
    def sign(self, number, side):
        baby = self.some(Baby, number)
        transfer = baby and baby.referral.transfers.order_by("-pk").first()
        if transfer:
            signature = journeys.Signature(side=side, name="Hana")
            self.tries(lambda: journeys.hand_over(self.by(), transfer, baby, signature))

    @invariant()
    def never_two_accepted_offers_and_a_placed_referral_has_one(self):
        accepted = Counter(
            Offer.objects.filter(stage="accepted").values_list("referral", flat=True)
        )
        assert all(count == 1 for count in accepted.values())
        for pk, stage in Referral.objects.values_list("pk", "stage"):
            assert stage == "closed" or (stage == "placed") == (pk in accepted)

    @invariant()
    def never_a_cot_below_zero_and_every_acceptance_holds_its_cots(self):
        assert all(free >= 0 for free in Unit.objects.values_list("cots_free", flat=True))
        held = Offer.objects.filter(stage="accepted").values_list("hold__pk", "hold__released_at")
        assert all(pk and released is None for pk, released in held)

    @invariant()
    def a_vehicle_is_busy_exactly_while_it_is_on_a_journey(self):
        live = Counter(
            Transfer.objects.live().exclude(vehicle=None).values_list("vehicle", flat=True)
        )
        for pk, state in Vehicle.objects.values_list("pk", "state"):
            assert live[pk] == (1 if state == "busy" else 0)

    @invariant()
    def a_referral_is_closed_exactly_when_every_baby_has_an_ending(self):
        unfinished = set(Baby.objects.filter(ending="").values_list("referral", flat=True))
        for pk, stage in Referral.objects.values_list("pk", "stage"):
            assert (stage == "closed") == (pk not in unfinished)

    @invariant()
    def an_open_referral_has_a_next_look_and_a_live_journey(self):
        live = Counter(Transfer.objects.live().values_list("referral", flat=True))
        for pk, stage, look in Referral.objects.values_list("pk", "stage", "next_look_at"):
            assert stage == "closed" or (look is not None and live[pk] == 1)

    @invariant()
    def an_alert_that_needs_an_answer_has_one_or_a_next_step(self):
        assert not Alert.objects.open().filter(needs_answer=True, due_at=None).exists()

    def every_chain_holds(self):
        for referral in Referral.objects.all():
            assert timeline.faults_of(referral) == []


@pytest.mark.django_db
def test_random_actions_keep_every_invariant(request):
    from django.db import transaction

    class FreshDistrict(District):
        """Every run begins in a district of its own and is undone at its end."""

        def __init__(self) -> None:
            self.undo = transaction.atomic()
            self.undo.__enter__()
            load_district(clock.now())
            super().__init__()

        def teardown(self) -> None:
            try:
                self.every_chain_holds()
            finally:
                self.undo_all()

        def undo_all(self) -> None:
            transaction.set_rollback(True)
            self.undo.__exit__(None, None, None)

    nightly = settings.get_profile("nightly").max_examples == settings().max_examples
    run_state_machine_as_test(
        FreshDistrict,
        settings=settings(
            max_examples=200 if nightly else 15,
            stateful_step_count=60 if nightly else 35,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
