"""The sites of a district around a place are found without reading all of them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("referrals", "0003_help_of_road_limits")]

    operations = [
        migrations.AddIndex(
            model_name="site",
            index=models.Index(fields=["district", "latitude"], name="site_by_latitude"),
        ),
    ]
