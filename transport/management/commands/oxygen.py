"""``manage.py oxygen``: how long one cylinder lasts, and whether that is enough."""

import math
from typing import Any

from django.core.management.base import CommandParser

from referrals.calc.quantities import ImpossibleQuantity, require_possible
from referrals.management.answers import AnswerCommand, bad_input
from transport.calc import oxygen
from transport.calc.travel import certain

LARGEST_WATER_LITRES = 60.0
"""More than the largest cylinder in use (UK J, 47.2 L): likely litres of gas were meant."""


class Command(AnswerCommand):
    """Reckon the minutes of an oxygen cylinder. Uses no database."""

    help = "Minutes that an oxygen cylinder lasts, to empty and to the reserve."

    def add_arguments(self, parser: CommandParser) -> None:
        """A metric cylinder by --litres and --bar, or a US one by --size and --psi."""
        parser.add_argument("--litres", type=float, metavar="L", help="water capacity")
        parser.add_argument("--bar", type=float, metavar="B", help="gauge pressure")
        parser.add_argument("--size", metavar="E", help="US letter")
        parser.add_argument("--psi", type=float, metavar="P", help="gauge pressure")
        parser.add_argument("--flow", type=float, metavar="F", required=True, help="litres/min")
        parser.add_argument("--reserve-bar", type=float, metavar="R", help="default: 30")
        parser.add_argument("--reserve-psi", type=float, metavar="R", help="default: 200")
        parser.add_argument("--minutes", type=float, metavar="M", help="planned, until bedside")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Answer for one cylinder."""
        try:
            plan = _plan(options)
        except (oxygen.InvalidOxygen, ImpossibleQuantity, ValueError) as error:
            raise bad_input(str(error)) from error
        if (options["litres"] or 0.0) > LARGEST_WATER_LITRES:
            self.note(
                "--litres is the water capacity of the cylinder (2 to 50 L), not litres of gas"
            )
        whole = plan.as_dict()
        body = {name: whole[name] for name in ("minutes_left", "minutes_to_reserve")}
        if options["minutes"] is not None:
            body |= {"enough": plan.enough, "words": whole["words"]}
        self.answer(body, as_json=options["json"], text=_sentence(plan, options["minutes"]))


def _plan(options: dict[str, Any]) -> oxygen.OxygenPlan:
    cylinder, reserve = _cylinder(options), _reserve(options)
    minutes = options["minutes"] if options["minutes"] is not None else 0.0
    return oxygen.plan_oxygen(
        cylinders=[cylinder],
        flow_l_min=require_possible("oxygen_flow_l_min", options["flow"]),
        journey=certain(require_possible("minutes", minutes)),
        waiting_minutes=0.0,
        loading_minutes=0.0,
        bedside_minutes=0.0,
        reserve=reserve,
    )


def _cylinder(options: dict[str, Any]) -> oxygen.Cylinder:
    metric = [options["litres"], options["bar"], options["reserve_bar"]]
    us = [options["size"], options["psi"], options["reserve_psi"]]
    if None not in metric[:2] and us == [None, None, None]:
        return oxygen.metric_cylinder(
            options["litres"], require_possible("oxygen_bar", options["bar"])
        )
    if None not in us[:2] and metric == [None, None, None]:
        return oxygen.us_cylinder(options["size"], require_possible("oxygen_psi", options["psi"]))
    raise bad_input("give --litres and --bar (--reserve-bar), or --size and --psi (--reserve-psi)")


def _reserve(options: dict[str, Any]) -> oxygen.Reserve:
    given = {
        unit: options[f"reserve_{unit}"]
        for unit in ("bar", "psi")
        if options[f"reserve_{unit}"] is not None
    }
    return oxygen.Reserve(**given)


def _sentence(plan: oxygen.OxygenPlan, minutes: float | None) -> str:
    if math.isinf(plan.minutes_left):
        return "Without a flow the oxygen is not limited."
    words = (
        f"The oxygen lasts about {math.floor(plan.minutes_left)} min, "
        f"{math.floor(plan.minutes_to_reserve)} min to the reserve."
    )
    if minutes is None:
        return words
    if plan.enough:
        return f"{words} That is enough for {minutes:g} min with reserve. {oxygen.AIR_WORDS}"
    return " ".join([words, *plan.words])
