"""The plan with its words. A shortage is said, never acted on: ventilation goes on with air."""

import math
from collections.abc import Sequence

from referrals.calc.sms.gsm import septets
from referrals.calc.wording import counted, marked, words
from transport.calc.oxygen.closing import closing_cylinders, closing_swap
from transport.calc.oxygen.cylinders import DEFAULT_RESERVE, Cylinder, Reserve, gauge_words
from transport.calc.oxygen.plan import (
    OxygenPlan,
    Supply,
    Swap,
    TimeNeeded,
    cautions_of,
    changes_within,
    standing_too,
)
from transport.calc.oxygen.pressures import refuse_negative
from transport.calc.oxygen.use import CHANGEOVER_MINUTES

AIR_WORDS = marked("If oxygen runs low or ends, keep ventilating with air.")

SEPTETS_OF_NAMES = 90
"""Of the two joined parts of an SMS, what is left for naming cylinders to send; one is named."""


def plan_oxygen(
    *,
    cylinders: Sequence[Cylinder],
    flow_l_min: float,
    journey: TimeNeeded,
    waiting_minutes: float,
    loading_minutes: float,
    bedside_minutes: float,
    reserve: Reserve = DEFAULT_RESERVE,
    changeover_minutes: float = CHANGEOVER_MINUTES,
    spares: Sequence[Cylinder] = (),
    swaps: Sequence[Swap] = (),
    under_way: bool = False,
) -> OxygenPlan:
    """Plan the oxygen from now to the handover at the bedside.

    ``waiting_minutes`` before loading, ``loading_minutes`` and ``bedside_minutes`` (walking in and
    handing over) draw on the same cylinders as the journey. ``spares`` are cylinders at hand, those
    to be named first in front; ``swaps`` filled ones at places on the way. ``under_way``: the words
    say how a cylinder can still be met. Always a second cylinder: WHO, Managing newborn problems,
    2003, page C-29. Raises InvalidOxygen for negative values.
    """
    refuse_negative(flow_l_min=flow_l_min)
    need = standing_too(journey, waiting_minutes, loading_minutes, bedside_minutes)
    supply = Supply(tuple(cylinders), flow_l_min, need, reserve, changeover_minutes)
    closing, lasting = "", None
    said: tuple[str, ...] = ()
    in_short: tuple[str, ...] = ()
    if not supply.lasts:
        closing = _closing_words(supply, spares, under_way=under_way)
        on_the_way = _swap_words(closing_swap(supply, swaps))
        said = (_short_words(supply), *on_the_way, closing, words(AIR_WORDS))
        in_short = (
            _minutes_words(supply),
            _closing_words(supply, spares, under_way=under_way, most=SEPTETS_OF_NAMES),
            words(AIR_WORDS),
        )
        lasting = supply.lasting_flow_l_min
    return OxygenPlan(
        flow_l_min=flow_l_min,
        minutes_left=supply.minutes_left,
        minutes_to_reserve=supply.minutes_to_reserve,
        needed_minutes=supply.needed_minutes,
        enough=supply.lasts,
        chance_of_touching_reserve=supply.chance_of_touching_reserve,
        chance_of_running_out=supply.chance_of_running_out,
        shortfall_litres=supply.shortfall_litres,
        changes=changes_within(supply),
        lasting_flow_l_min=lasting,
        chance_words=_chance_words(supply),
        closing_words=closing,
        words=said,
        message_words=in_short,
        lower_flow_words=_lower_flow_words(lasting),
        cautions=cautions_of(cylinders),
    )


def _chance_words(supply: Supply) -> str:
    if supply.flow_l_min == 0.0:
        return words("No oxygen flows: nothing limits it.")
    chance = 1.0 - supply.chance_of_touching_reserve
    if chance < 0.01:
        return words("Under 1 % chance of reaching the bedside before the reserve is touched.")
    if chance > 0.99:
        return words("Over 99 % chance of reaching the bedside before the reserve is touched.")
    return words(
        "%(number)d %% chance of reaching the bedside before the reserve is touched.",
        number=round(chance * 100),
    )


def _minutes_words(supply: Supply) -> str:
    planned = math.ceil(supply.needed_minutes)
    if not supply.cylinders:
        return _short_words(supply)
    return words(
        "Oxygen may not last: about %(left)d min left, %(planned)d min planned.",
        left=math.floor(supply.minutes_left),
        planned=planned,
    )


def _short_words(supply: Supply) -> str:
    planned = math.ceil(supply.needed_minutes)
    if not supply.cylinders:
        return words(
            "No oxygen cylinder is written down for the vehicle; %(planned)d min planned.",
            planned=planned,
        )
    return words(
        "Oxygen may not last: about %(left)d min left, %(planned)d min planned; %(chance)s of "
        "reaching the bedside before the reserve is touched.",
        left=math.floor(supply.minutes_left),
        planned=planned,
        chance=in_hundred(1.0 - supply.chance_of_touching_reserve),
    )


def _swap_words(swap: Swap | None) -> tuple[str, ...]:
    if swap is None:
        return ()
    time = swap.until_there
    return (
        words(
            "On the way, change to cylinder %(cylinder)s at %(place)s, about %(p50).0f min "
            "(%(p10).0f to %(p90).0f) from now.",
            cylinder=gauge_words(swap.cylinder),
            place=swap.place,
            p50=time.p50,
            p10=time.quantile(0.1),
            p90=time.quantile(0.9),
        ),
    )


def _closing_words(
    supply: Supply, spares: Sequence[Cylinder], *, under_way: bool, most: int | None = None
) -> str:
    closing = closing_cylinders(supply, spares)
    if closing and not spares:
        return _one_more_words(closing[0], under_way=under_way)
    if closing and under_way:
        return counted(
            "Send to meet them cylinder %(cylinders)s.",
            "Send to meet them cylinders %(cylinders)s.",
            len(closing),
            cylinders=_all_words(closing, most),
        )
    if closing:
        return counted(
            "Take along cylinder %(cylinders)s.",
            "Take along cylinders %(cylinders)s.",
            len(closing),
            cylinders=_all_words(closing, most),
        )
    litres = math.ceil(supply.shortfall_litres)
    if under_way:
        return words("Send to meet them cylinders: %(litres)d L more are needed.", litres=litres)
    if spares:
        return words(
            "Take along every cylinder at hand (%(cylinders)s), and more: %(litres)d L more are "
            "needed.",
            cylinders=_all_words(spares, most),
            litres=litres,
        )
    return words("Take along cylinders: %(litres)d L more are needed.", litres=litres)


def _one_more_words(size: Cylinder, *, under_way: bool) -> str:
    """Where nobody has written down a spare one: the least that closes it."""
    sentence = (
        marked(
            "Send to meet them one more cylinder, at least a full %(label)s (%(litres)s L of "
            "water, %(bar)d bar)."
        )
        if under_way
        else marked(
            "Take along one more cylinder, at least a full %(label)s (%(litres)s L of water, "
            "%(bar)d bar)."
        )
    )
    litres = f"{size.water_litres:g}"
    return words(sentence, label=size.label, litres=litres, bar=size.pressure)


def _all_words(cylinders: Sequence[Cylinder], most: int | None = None) -> str:
    """Every one by name; within ``most`` septets as many as fit, and how many more there are."""
    names = [gauge_words(each) for each in cylinders]
    fitting = len(names)
    while most is not None and fitting > 1 and septets(", ".join(names[:fitting])) > most:
        fitting -= 1
    said = ", ".join(names[:fitting])
    if fitting == len(names):
        return said
    return words("%(named)s and %(more)d more", named=said, more=len(names) - fitting)


def _lower_flow_words(lasting_l_min: float | None) -> str:
    """The flow rounded down to what a flow meter shows; a decision that is not this tool's."""
    shown = math.floor((lasting_l_min or 0.0) * 10) / 10
    if shown <= 0.0:
        return ""
    return words(
        "Arithmetic only: at %(flow).1f L/min in all it would last as planned. A lower flow is a "
        "clinician's decision.",
        flow=shown,
    )


def in_hundred(chance: float) -> str:
    """A chance in words that never claim certainty."""
    if chance < 0.01:
        return words("under 1 % chance")
    if chance > 0.99:
        return words("over 99 % chance")
    return words("%(number)d %% chance", number=round(chance * 100))
