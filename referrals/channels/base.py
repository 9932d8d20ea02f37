"""What every way of sending a message has in common."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, kw_only=True)
class Message:
    """A message ready to leave. ``key`` is the same on every retry, for gateways that use it."""

    to: str
    text: str
    subject: str
    key: str


class TryLater(Exception):
    """The message may work later: no connection, a time-out, too many at once, a server fault."""


class Refused(Exception):
    """The message will never work on this channel: a bad number, a rejected mailbox, no gateway."""


class Channel(Protocol):
    """One way by which a message leaves."""

    def send(self, message: Message) -> str:
        """Hand the message over and return the provider's own id for it, if it gave one.

        Raises:
            TryLater: when another attempt may work.
            Refused: when it never will.
        """
        ...
