"""What closes a gap: cylinders at hand or on the way, and, as arithmetic only, a lower flow."""

from collections.abc import Sequence
from dataclasses import replace

from transport.calc.oxygen.cylinders import UK_CYLINDERS, Cylinder, litres_available, uk_cylinder
from transport.calc.oxygen.plan import PLANNED_PROBABILITY, Supply, Swap


def closing_cylinders(supply: Supply, spares: Sequence[Cylinder] = ()) -> tuple[Cylinder, ...]:
    """The cylinders that make the oxygen enough if taken along; none where no choice of them does.

    The first single one of the ``spares`` that does; else as few as possible, the fullest first.
    Without spares the smallest full metric size that does.
    """
    offered = spares or [uk_cylinder(letter) for letter in UK_CYLINDERS]
    if not spares:
        offered = sorted(offered, key=litres_available)
    for spare in offered:
        if _with(supply, spare).lasts:
            return (spare,)
    taken: tuple[Cylinder, ...] = ()
    for spare in sorted(spares, key=litres_available, reverse=True):
        taken = (*taken, spare)
        if _with(supply, *taken).lasts:
            return taken
    return ()


def closing_swap(supply: Supply, swaps: Sequence[Swap]) -> Swap | None:
    """The soonest place on the way whose cylinder makes it enough, if the oxygen lasts until there.

    Until there means to the reserve, with the probability that is planned for.
    """
    able = [
        swap
        for swap in swaps
        if swap.until_there.quantile(PLANNED_PROBABILITY) <= supply.minutes_to_reserve
        and replace(_with(supply, swap.cylinder), need=swap.whole).lasts
    ]
    return min(able, key=lambda swap: swap.until_there.p50, default=None)


def _with(supply: Supply, *more: Cylinder) -> Supply:
    return replace(supply, cylinders=(*supply.cylinders, *more))
