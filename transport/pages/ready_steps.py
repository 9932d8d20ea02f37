"""What is still to be done until a vehicle that comes back is free again, as pages show it."""

from datetime import datetime
from typing import NamedTuple

from transport.models import Vehicle
from transport.pages.words import READY_STEPS_ASKED, word


class Step(NamedTuple):
    """A step with its words, and when it was done."""

    code: str
    words: str
    done_at: datetime | None


def steps_of(vehicle: Vehicle | None) -> list[Step]:
    """The steps of a vehicle on its way back; none of any other."""
    if vehicle is None or vehicle.state != "returning":
        return []
    done = vehicle.steps_done().items()
    return [Step(code, word(READY_STEPS_ASKED, code), moment) for code, moment in done]
