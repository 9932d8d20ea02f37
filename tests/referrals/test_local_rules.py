"""A district's own need rules: kept by version, tightened freely, loosened only by a name."""

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from referrals import local_rules, timeline
from referrals.models import LocalRule, Need, Referral, Staff
from referrals.reading import assess
from tests.world import a_referral, told_by

RULE = "under_1800_g_or_34_weeks"


@pytest.fixture
def desk(now):
    return told_by("leena.morrastad", now)


def a_rule(district, **told):
    return LocalRule(district=district, **{"rule": RULE, "source": "district protocol 4", **told})


def weighs(referral, grams, now):
    from referrals import recording

    recording.observe(told_by("tomasi.bellaqua", now), referral.babies.get(), {"weight_g": grams})


def standing(referral):
    return {need.rule: need for need in referral.needs.filter(superseded_at=None)}


def test_a_tightened_rule_counts_at_once_for_babies_on_the_way(district, desk, now):
    referral = a_referral(now)
    weighs(referral, 1900, now)
    assert RULE not in standing(referral)
    local_rules.keep_rule(desk, a_rule(district, also_when=[{"fact": "weight_g", "below": 2000}]))
    need = standing(referral)[RULE]
    assert need.source.endswith("district protocol 4, version 1 of the district")
    referral = Referral.objects.get(pk=referral.pk)
    assert RULE in referral.entries.filter(kind="needs_derived").last().body["added"]
    assert not timeline.faults_of(referral)


def test_each_change_is_the_next_version_and_the_one_before_stays(district, desk):
    for limit in (2000, 2200):
        also = [{"fact": "weight_g", "below": limit}]
        local_rules.keep_rule(desk, a_rule(district, also_when=also))
    rows = LocalRule.objects.filter(rule=RULE)
    assert [(row.version, row.also_when[0]["below"]) for row in rows] == [(1, 2000), (2, 2200)]
    assert {row.made_by for row in rows} == {"Leena Morrastad"}


def test_the_newest_version_counts_and_an_empty_one_is_the_shipped_rule(district, desk, now):
    referral = a_referral(now)
    weighs(referral, 1900, now)
    also = [{"fact": "weight_g", "below": 2000}]
    local_rules.keep_rule(desk, a_rule(district, also_when=also))
    local_rules.keep_rule(desk, a_rule(district))
    assert RULE not in standing(referral)


def test_a_need_that_the_district_asks_more_of_takes_the_place_of_the_old_one(district, desk, now):
    referral = a_referral(now)
    weighs(referral, 1700, now)
    old = standing(referral)[RULE]
    caps = [*old.capabilities, "surgery"]
    local_rules.keep_rule(desk, a_rule(district, capabilities=caps))
    new = standing(referral)[RULE]
    assert new.pk != old.pk
    assert Need.objects.get(pk=old.pk).superseded_at
    assert "surgery" in new.capabilities
    assert "surgery" in {each.value for each in assess(referral, now).capabilities}


def test_asking_for_less_needs_the_name_of_who_answers_for_it(district, desk):
    with pytest.raises(ValidationError, match="no longer needed"):
        local_rules.keep_rule(desk, a_rule(district, capabilities=["oxygen"]))
    assert not LocalRule.objects.exists()
    kept = a_rule(district, capabilities=["oxygen"], loosened_by="Dr Hana Wendorra")
    assert local_rules.keep_rule(desk, kept).loosened_by == "Dr Hana Wendorra"


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"rule": "moon"}, "there is no such rule"),
        ({"also_when": [{"fact": "weight_g", "below": 10}]}, "never or always"),
        ({"also_when": {"fact": "weight_g"}}, "list of conditions"),
        ({"urgency": "soon"}, "ventilated"),
        ({"capabilities": ["wings"]}, "unknown capabilities"),
    ],
)
def test_a_row_that_cannot_be_is_refused(district, desk, told, said):
    with pytest.raises(ValidationError, match=said):
        local_rules.keep_rule(desk, a_rule(district, **told))


def test_another_district_keeps_the_shipped_rule(district, desk, now):
    other = type(district).objects.create(code="other", name="Other")
    local_rules.keep_rule(desk, a_rule(other, also_when=[{"fact": "weight_g", "below": 4000}]))
    referral = a_referral(now)
    weighs(referral, 3000, now)
    assert RULE not in standing(referral)


def test_a_version_is_added_in_the_back_office_and_never_changed(district, now):
    client = Client()
    keeper = Staff.objects.create_superuser("keeper", password="a long enough phrase")
    client.force_login(keeper)
    told = {
        "district": district.pk, "rule": RULE, "also_when": '[{"fact": "spo2", "below": 93}]',
        "urgency": "", "source": "protocol 4", "loosened_by": "",
    }  # fmt: skip
    answer = client.post(reverse("admin:referrals_localrule_add"), told)
    assert answer.status_code == 302, answer.content.decode()
    row = LocalRule.objects.get()
    assert (row.version, row.made_by, row.capabilities) == (1, "keeper", None)
    page = reverse("admin:referrals_localrule_change", args=[row.pk])
    assert client.post(page, told | {"urgency": "ventilated"}).status_code == 403
