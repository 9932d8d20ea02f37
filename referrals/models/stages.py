"""What keeps a stage from being written anywhere but in a lifecycle module."""

from typing import Any, TypeVar

from django.db import models

M = TypeVar("M", bound=models.Model)


class StageQuerySet(models.QuerySet[M]):
    """A queryset whose ordinary update refuses the stage."""

    def update(self, **values: Any) -> int:
        """Update other columns; the stage has its own way."""
        if "stage" in values:
            raise TypeError("a stage changes only in a lifecycle module, with its Entry")
        return super().update(**values)

    def claim_stage(self, *, seen: str, to: str, **also: Any) -> bool:
        """Move the one row from the stage seen to another; false when somebody was first."""
        return super().filter(stage=seen).update_stage(to, also) == 1

    def update_stage(self, to: str, also: dict[str, Any]) -> int:
        """The single place where the column is written."""
        return super().update(stage=to, **also)


def words_of(*stages: str) -> list[str]:
    """Stage words for a check constraint."""
    return list(stages)
