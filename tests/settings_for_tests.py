"""The settings of the test run: the demo's, in a folder of their own."""

import os
import tempfile

os.environ["LITTLEROAD_DEMO"] = "1"
os.environ["LITTLEROAD_SECRET_KEY"] = "demo-secret-known-to-everybody-never-for-real-babies"
os.environ.setdefault("LITTLEROAD_DATA_DIR", tempfile.mkdtemp(prefix="littleroad-tests-"))

from referrals.project.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
