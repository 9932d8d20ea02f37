"""Of a large district only what lies around the baby is read; the order is that of the whole."""

import random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from referrals.calc.terms import Capability
from referrals.models import Offer, Referral, Site, Unit
from tests.world import a_referral
from transport import choosing, units_in_sight

pytestmark = pytest.mark.django_db


@pytest.fixture
def referral(district, now):
    return a_referral(now)


def many_units(referral, count, *, first=0, spread=1.5, seed=3):
    """So many units around the post, some without the care, a cot or an open door."""
    chance, every = random.Random(seed), [each.value for each in Capability]
    origin = referral.origin
    sites = Site.objects.bulk_create(
        Site(district=referral.district, code=f"m{n}", name=f"Site {n}", kind="hospital",
             latitude=origin.latitude + chance.uniform(-spread, spread),
             longitude=origin.longitude + chance.uniform(-spread, spread))
        for n in range(first, first + count)
    )  # fmt: skip
    Unit.objects.bulk_create(
        Unit(site=site, code=f"m{n}", name=f"Unit {n}", level="ward",
             capabilities=every[: chance.choice((3, 6, 8, len(every)))],
             cots_free=chance.randrange(3), is_open=chance.random() < 0.9)
        for n, site in enumerate(sites, start=first)
    )  # fmt: skip


def shown(referral, now):
    ranking = choosing.ranking_for(Referral.objects.get(pk=referral.pk), now)
    return ranking, [each.key for each in ranking.candidates]


def queries_of(referral, now):
    fresh = Referral.objects.select_related("district", "origin").get(pk=referral.pk)
    with CaptureQueriesContext(connection) as captured:
        choosing.ranking_for(fresh, now)
    return len(captured)


def test_the_order_is_that_of_the_whole_district(referral, now, monkeypatch):
    many_units(referral, 400)
    around, keys = shown(referral, now)
    assert around.looked_within_km is not None
    monkeypatch.setattr(units_in_sight, "MOST_READ_WHOLE", 10_000)
    whole, all_keys = shown(referral, now)
    assert whole.looked_within_km is None
    assert keys[:15] == all_keys[:15]
    assert around.best.key == whole.best.key


def test_those_asked_and_the_standing_unit_are_there_however_far(referral, now):
    many_units(referral, 400)
    site = Site.objects.create(district=referral.district, code="far", name="Far", kind="hospital",
                               latitude=referral.origin.latitude + 3,
                               longitude=referral.origin.longitude)  # fmt: skip
    far = [Unit.objects.create(site=site, code=f"far-{n}", name=f"Far {n}", level="ward")
           for n in (1, 2)]  # fmt: skip
    Offer.objects.create(referral=referral, unit=far[0], asked_at=now)
    referral.district.standing_unit = far[1]
    referral.district.save()
    ranking, keys = shown(referral, now)
    assert ranking.looked_within_km < 300
    assert {"far-1", "far-2"} <= set(keys)


def test_where_few_can_take_the_baby_the_look_goes_farther(referral, now):
    many_units(referral, 400)
    near, _ = shown(referral, now)
    Unit.objects.exclude(code__in=("m1", "m2")).update(is_open=False)
    far, keys = shown(referral, now)
    assert far.looked_within_km is None or far.looked_within_km > near.looked_within_km
    assert {"m1", "m2"} <= set(keys)


def test_the_number_of_queries_does_not_grow_with_the_district(referral, now):
    """One more where a meeting is tried; a large one is looked at in circles, ever wider."""
    many_units(referral, 40)
    few = queries_of(referral, now)
    many_units(referral, 240, first=100)
    assert queries_of(referral, now) <= few + 1
    many_units(referral, 2_000, first=1_000)
    assert queries_of(referral, now) <= few + 4


def test_a_ranking_leaves_nothing_behind_in_the_row_it_was_asked_for(referral, now):
    fresh = Referral.objects.get(pk=referral.pk)
    choosing.ranking_for(fresh, now)
    assert not getattr(fresh, "_prefetched_objects_cache", {})
    assert "mother" not in fresh._state.fields_cache
