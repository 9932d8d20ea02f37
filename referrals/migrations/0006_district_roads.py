import django.core.validators
from django.db import migrations, models

import referrals.models.sites


def leave_to_the_months(apps, schema_editor):
    """Nobody had set the dry season: it was only what stood there."""
    apps.get_model("referrals", "District").objects.filter(rainy_season=False).update(
        rainy_season=None
    )


def dry_unless_set(apps, schema_editor):
    """Back to a switch with two positions."""
    apps.get_model("referrals", "District").objects.filter(rainy_season=None).update(
        rainy_season=False
    )


class Migration(migrations.Migration):
    dependencies = [("referrals", "0005_joined_referrals")]

    operations = [
        migrations.AlterField(
            "district",
            "rainy_season",
            models.BooleanField(
                blank=True,
                help_text="Yes or no by the desk; unknown: by the rainy months.",
                null=True,
            ),
        ),
        migrations.RunPython(leave_to_the_months, dry_unless_set),
        migrations.AlterField(
            "district",
            "detour_factor",
            models.FloatField(
                default=1.4,
                validators=[
                    django.core.validators.MinValueValidator(1),
                    django.core.validators.MaxValueValidator(5),
                ],
            ),
        ),
        migrations.AddField(
            "district",
            "travel_settings",
            models.JSONField(
                blank=True,
                default=dict,
                help_text="Speeds, rain and night factors, rainy months, as in district.json.",
                validators=[referrals.models.sites.possible_roads],
            ),
        ),
        migrations.AddField(
            "district",
            "oxygen_reserve_bar",
            models.FloatField(
                default=30,
                validators=[
                    django.core.validators.MinValueValidator(0),
                    django.core.validators.MaxValueValidator(100),
                ],
            ),
        ),
    ]
