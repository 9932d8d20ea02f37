from django.db import migrations

from referrals.append_only import install, remove


class Migration(migrations.Migration):
    dependencies = [("referrals", "0001_initial")]

    operations = [migrations.RunPython(install, remove)]
