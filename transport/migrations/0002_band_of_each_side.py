"""The band is read before leaving, and by each side of the handover for itself."""

import django.db.models.deletion
from django.db import migrations, models


def sides_from_the_timeline(apps, schema_editor):
    """Which side had read the band stands in the entries, not on the row."""
    Entry = apps.get_model("referrals", "Entry")
    for handover in apps.get_model("transport", "Handover").objects.filter(band_checked=True):
        baby = handover.baby
        signed = Entry.objects.filter(referral=baby.referral_id, kind="handover_signed")
        for body in signed.values_list("body", flat=True):
            if body["baby"] == baby.birth_order and body.get("band_checked"):
                side = "given" if body["side"] == "giver" else "received"
                setattr(handover, f"{side}_band_checked", True)
        handover.save(update_fields=["given_band_checked", "received_band_checked"])


def either_side(apps, schema_editor):
    """As before: one flag, set when either side had read the band."""
    given = models.Q(given_band_checked=True)
    received = models.Q(received_band_checked=True)
    handovers = apps.get_model("transport", "Handover").objects
    handovers.filter(given | received).update(band_checked=True)


class Migration(migrations.Migration):

    dependencies = [
        ("referrals", "0002_entries_append_only"),
        ("transport", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="BandReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("read_at", models.DateTimeField()),
                ("read_by", models.CharField(max_length=150)),
                ("baby", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="band_readings", to="referrals.baby")),
                ("transfer", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="band_readings", to="transport.transfer")),
            ],
            options={"ordering": ["read_at", "id"]},
        ),
        migrations.AddField("handover", "given_band_checked", models.BooleanField(default=False)),
        migrations.AddField("handover", "received_band_checked", models.BooleanField(default=False)),
        migrations.RunPython(sides_from_the_timeline, either_side),
        migrations.RemoveField("handover", "band_checked"),
    ]
