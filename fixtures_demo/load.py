"""Load the invented demo district into an empty database."""

import json
from datetime import datetime, timedelta
from pathlib import Path

from referrals.models import District
from transport.loading import read_folder, save

FOLDER = Path(__file__).resolve().parent / "district"


def load_district(now: datetime) -> District:
    """The district with its places, people and vehicles; one that is there already is kept."""
    code = json.loads((FOLDER / "district.json").read_text())["code"].lower()
    existing = District.objects.filter(code=code).first()
    if existing:
        return existing
    folder = read_folder(FOLDER, now)
    for unit in folder.units.values():
        unit.cots_reported_at = now - timedelta(hours=2)
    return save(folder)
