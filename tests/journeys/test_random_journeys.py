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
from referrals import (
    alerting,
    clock,
    cots,
    describing,
    endings,
    examining,
    lifecycle,
    recording,
    reopening,
    scoring,
    sweeping,
    timeline,
    ventilating,
    watching,
)
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.scores import ScoreKind
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Baby, CotReport, Offer, Referral, Site, Unit
from transport import (
    fleet,
    handing_over,
    invariants,
    meetings,
    milestones,
    on_the_way,
    told_rows,
    where_to,
)
from transport import lifecycle as journeys
from transport.calc.stages import MILESTONES
from transport.meeting_steps import MEETING_STEPS
from transport.models import Meeting, Transfer, Vehicle

UNITS = ["ORL-NB", "KES-NB", "BAN-NB", "THO-NB"]
VEHICLES = ["AMB-1", "AMB-2", "PIC-1"]
LOOKED_AT = (
    invariants.one_journey_per_vehicle,
    invariants.meetings_have_two_vehicles,
    invariants.stages_follow_milestones,
    invariants.stages_follow_entries,
)
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
            babies=[describing.BabyTold(facts=dict(BAGGED)) for _ in range(babies)],
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
            self.tries(lambda: fleet.vehicle_ready(self.by(), ready))
        elif how == 2 and transfer:
            self.tries(lambda: journeys.unassign(self.by(), transfer, why="tyre", broken=True))
        elif baby:
            self.tries(lambda: reopening.reverse_ending(self.by(), baby, reason="wrong baby"))

    @rule(number=index, milestone=st.sampled_from(MILESTONES), late=st.integers(0, 90))
    def reach(self, number, milestone, late):
        if transfer := self.some(Transfer, number):
            by = told_by("mateus.dunnaway", self.moment - timedelta(minutes=late))
            self.tries(lambda: milestones.reach(by, transfer, milestone))

    @rule(number=index, milestone=st.none() | st.sampled_from(MILESTONES))
    def withdraw_a_milestone(self, number, milestone):
        if transfer := self.some(Transfer, number):
            by = self.by("mateus.dunnaway")
            self.tries(lambda: milestones.withdraw_milestone(by, transfer, milestone))

    @rule(number=index, vehicle=st.sampled_from(VEHICLES), site=st.sampled_from(["SAL", "BAN"]))
    def meet(self, number, vehicle, site):
        if transfer := self.some(Transfer, number):
            second, place = Vehicle.objects.get(code=vehicle), Site.objects.get(code=site)
            self.tries(lambda: meetings.meet(self.by(), transfer, second, place))

    @rule(number=index, step=st.sampled_from(sorted(MEETING_STEPS)), late=st.integers(0, 30))
    def step_of_a_meeting(self, number, step, late):
        if transfer := self.some(Transfer, number):
            by = told_by("mateus.dunnaway", self.moment - timedelta(minutes=late))
            self.tries(lambda: MEETING_STEPS[step](by, transfer, "Tomasi"))

    @rule(number=index, milestone=st.sampled_from(MILESTONES), undo=st.booleans())
    def the_second_driver_reports(self, number, milestone, undo):
        transfer = self.some(Transfer, number)
        meeting = transfer and transfer.meetings.last()
        if not meeting:
            return
        by, about = self.by("ilse.kambarra"), {"assignment": meeting.assignment}
        if undo and meeting.moved_at is None and meeting.ended_at is None:
            self.tries(lambda: milestones.withdraw_milestone(by, transfer, milestone, **about))
        else:
            self.tries(lambda: milestones.reach(by, transfer, milestone, **about))

    @rule(number=index, rate=st.integers(-5, 400))
    def observe(self, number, rate):
        baby = self.some(Baby, number)
        if baby is None:
            return
        try:
            recording.observe(self.by("tomasi.bellaqua"), baby, {"heart_rate": rate})
        except ImpossibleQuantity:
            assert rate < 0 or rate > 350

    @rule(number=index, kind=st.sampled_from(told_rows.KINDS), later=st.booleans())
    def tell_and_take_back(self, number, kind, later):
        """Something is told; now or later some entry of that kind turns out to be wrong."""
        baby = self.some(Baby, number)
        if baby is None:
            return
        if not later:
            self.tries(lambda: self.tell(kind, baby))
        rows = list(told_rows.rows_of(baby.referral, kind).order_by("pk"))
        if later and rows:
            wrong = rows[number % len(rows)]
            self.tries(lambda: told_rows.withdraw(self.by(), wrong, reason="another baby"))

    def tell(self, kind, baby):
        by, referral = self.by(), baby.referral
        transfer = referral.transfers.order_by("-pk").first()
        gauge = on_the_way.CheckTold(facts={"heart_rate": 120}, oxygen_bar=90)
        tellings = {
            "reading": lambda: recording.observe(by, baby, {"weight_g": 2100}),
            "mother": lambda: recording.observe_mother(by, referral.mother, {"bleeding": "heavy"}),
            "treatment": lambda: recording.record_treatment(
                by, referral, recording.Told(words="warmth"), baby=baby
            ),
            "advice": lambda: recording.record_advice(
                by, referral, given_by="Dr Wendorra", words="warm", read_back=True
            ),
            "outcome": lambda: recording.tell_outcome(by, baby, state="improving", words="pink"),
            "score": lambda: scoring.take(by, baby, scoring.ScoreTold(kind=ScoreKind.TRIPS)),
            "chest": lambda: ventilating.try_step(by, baby, "seal", chest_moves=False),
            "examination": lambda: examining.examine(by, baby, findings="pink all over"),
            "check": lambda: on_the_way.check(by, transfer, baby, gauge),
            "band": lambda: on_the_way.read_band(by, transfer, baby, baby.code),
        }
        assert list(tellings) == told_rows.KINDS
        tellings[kind]()

    @rule(number=index, how=st.integers(0, 3), side=st.sampled_from(["giver", "receiver"]))
    def change_their_mind(self, number, how, side):
        """An alert taken and given back, a signature or a report undone, a door that stays shut."""
        alert, report = self.some(Alert, number), self.some(CotReport, number)
        transfer, baby = self.some(Transfer, number), self.some(Baby, number)
        if how == 0 and alert:
            alerting.acknowledge(alert.pk, self.by())
            self.tries(lambda: alerting.give_back(alert.pk, self.by()))
        elif how == 1 and baby:
            self.tries(
                lambda: handing_over.withdraw_signature(self.by(), baby, side, reason="wrong baby")
            )
        elif how == 2 and report:
            self.tries(lambda: cots.withdraw_report(self.by(), report))
        elif how == 3 and transfer:
            by = self.by("mateus.dunnaway")
            self.tries(lambda: where_to.go_on(by, transfer, why="no cot after all"))

    @rule(number=index, ending=st.sampled_from(Ending), rarely=st.integers(0, 2))
    def end(self, number, ending, rarely):
        baby = self.some(Baby, number)
        if rarely == 0 and baby and ending is not Ending.HANDED_OVER:
            told = {"determined_by": "Dr Wendorra", "band": baby.code}
            self.tries(lambda: endings.end_baby(self.by(), baby, ending, **told))

    @rule(number=index, side=st.sampled_from(["giver", "receiver"]))
    def sign(self, number, side):
        baby = self.some(Baby, number)
        transfer = baby and baby.referral.transfers.order_by("-pk").first()
        if transfer:
            signature = handing_over.Signature(side=side, name="Hana")
            self.tries(lambda: handing_over.hand_over(self.by(), transfer, baby, signature))

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
        live.update(Meeting.objects.standing().values_list("vehicle", flat=True))
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

    @invariant()
    def what_the_database_holds_agrees_with_its_entries_and_itself(self):
        at = invariants.moment(5)
        assert [sentence for look in LOOKED_AT for sentence in look(at)] == []

    @invariant()
    def only_what_stands_counts(self):
        for baby in Baby.objects.all():
            told = baby.observations.standing().exclude(weight_g=None).last()
            assert baby.weight_g == (told.weight_g if told else None)

    def every_chain_holds(self):
        moment = invariants.moment(5)
        looks = (invariants.stages_follow_milestones, invariants.stages_follow_entries)
        assert [sentence for look in looks for sentence in look(moment)] == []
        for referral in Referral.objects.all():
            assert timeline.faults_of(referral) == []


@pytest.mark.django_db
@pytest.mark.timeout(1500)
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
            max_examples=200 if nightly else 8,
            stateful_step_count=60 if nightly else 35,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
