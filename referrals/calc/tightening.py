"""A district's own version of a need rule: the shipped row, and what the district changed in it.

To tighten is to let a rule fire for more babies, ask for more, or hurry more. Anything else loosens
the shipped rule, and is taken only with the name of a person who answers for it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from referrals.calc import need_conditions as when
from referrals.calc.need_conditions import NeedRule, StatusT
from referrals.calc.quantities import QUANTITIES
from referrals.calc.status import BabyStatus, MotherStatus, quantity_of
from referrals.calc.terms import Capability, Urgency
from referrals.calc.wording import words

COMPARISONS = {"below": when.below, "above": when.above, "at_least": when.at_least}


@dataclass(frozen=True, kw_only=True)
class RuleChange:
    """What a district says of one rule; ``None`` and empty leave the shipped row as it is.

    ``also_when`` holds conditions that make it fire too: ``{"fact": "weight_g", "below": 2000}``.
    """

    version: int = 1
    also_when: Sequence[Mapping[str, Any]] = ()
    capabilities: frozenset[Capability] | None = None
    preferred_capabilities: frozenset[Capability] | None = None
    urgency: Urgency | None = None
    source: str = ""


def changed(rule: NeedRule[StatusT], change: RuleChange) -> NeedRule[StatusT]:
    """The row as it holds in the district. Raises ``ValueError`` for a condition that cannot be."""
    faults = faults_of(rule, change)
    if faults:
        raise ValueError("; ".join(faults))
    extra = [_condition(each) for each in change.also_when]
    required = rule.capabilities if change.capabilities is None else change.capabilities
    preferred = (
        rule.preferred_capabilities
        if change.preferred_capabilities is None
        else change.preferred_capabilities
    )
    said = words(
        "%(shipped)s; %(source)s, version %(version)d of the district",
        shipped=words(rule.source),
        source=change.source,
        version=change.version,
    )
    facts = dict.fromkeys([*rule.facts, *(each["fact"] for each in change.also_when)])
    return replace(
        rule,
        applies=when.either(rule.applies, *extra) if extra else rule.applies,
        capabilities=required,
        preferred_capabilities=preferred - required,
        urgency=change.urgency or rule.urgency,
        facts=tuple(facts),
        source=said,
    )


def loosened_by(rule: NeedRule[Any], change: RuleChange) -> list[str]:
    """In which ways a change asks for less than the shipped row, in words; empty if it does not."""
    said = []
    if change.capabilities is not None and (gone := rule.capabilities - change.capabilities):
        said.append(words("no longer needed: %(what)s", what=_named(gone)))
    kept = change.capabilities or rule.capabilities
    if change.preferred_capabilities is not None and (
        gone := rule.preferred_capabilities - change.preferred_capabilities - kept
    ):
        said.append(words("no longer preferred: %(what)s", what=_named(gone)))
    order = list(Urgency)
    if change.urgency and order.index(change.urgency) > order.index(rule.urgency):
        said.append(words("less urgent than the shipped rule"))
    return said


def faults_of(rule: NeedRule[Any], change: RuleChange) -> list[str]:
    """What cannot be in a change: a fact nobody has, a row that never or always fires."""
    status = MotherStatus if rule.code.startswith("mother_") else BabyStatus
    known = [name for name in status.__dataclass_fields__ if quantity_of(name)]
    said = []
    for each in change.also_when:
        fault = _fault(each, known)
        if fault:
            said.append(fault)
    if change.capabilities and change.preferred_capabilities:
        both = change.capabilities & change.preferred_capabilities
        if both:
            said.append(words("both needed and only preferred: %(what)s", what=_named(both)))
    return said


def _fault(condition: Mapping[str, Any], known: Sequence[str]) -> str:
    if not isinstance(condition, Mapping) or "fact" not in condition or len(condition) != 2:
        return words('write a condition as {"fact": "weight_g", "below": 2000}')
    fact = condition["fact"]
    if fact not in known or fact == "glucose":
        return words(
            "%(fact)s is no measured fact here; known are: %(known)s",
            fact=fact,
            known=", ".join(name for name in known if name != "glucose"),
        )
    comparison = next(name for name in condition if name != "fact")
    limit = condition[comparison]
    if comparison not in COMPARISONS or isinstance(limit, bool):
        return words("compare with one of: %(known)s", known=", ".join(COMPARISONS))
    if not isinstance(limit, int | float):
        return words("%(fact)s is compared with a number", fact=fact)
    bounds = QUANTITIES[quantity_of(fact) or fact]
    low, high = bounds.possible_low, bounds.possible_high
    if not low < limit <= high:
        return words(
            "%(fact)s against %(limit)s would never or always hold: %(bounds)s",
            fact=fact,
            limit=limit,
            bounds=bounds.sentence(),
        )
    return ""


def _condition(condition: Mapping[str, Any]) -> Any:
    comparison = next(name for name in condition if name != "fact")
    return COMPARISONS[comparison](condition["fact"], condition[comparison])


def _named(capabilities: frozenset[Capability]) -> str:
    return ", ".join(sorted(each.value.replace("_", " ") for each in capabilities))
