"""The site's settings, in a place of their own: a test run writes nothing beside the project.

What a person has set in the environment must not change what a test sees, so it is put aside
before the site's settings are read. Only DATABASE_URL is kept: it chooses the database to test on.
"""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

# The process that starts first makes the folder and removes it; pytest-xdist's workers inherit its name.
if "TIDETALLY_TEST_DATA" not in os.environ:
    os.environ["TIDETALLY_TEST_DATA"] = tempfile.mkdtemp(prefix="tidetally-test-")
    atexit.register(shutil.rmtree, os.environ["TIDETALLY_TEST_DATA"], ignore_errors=True)
_DATA = Path(os.environ["TIDETALLY_TEST_DATA"]) / os.environ.get("PYTEST_XDIST_WORKER", "main")
_DATA.mkdir(exist_ok=True)

for _name in [name for name in os.environ if name.startswith(("TIDETALLY_GBIF", "TIDETALLY_OIDC"))]:
    os.environ.pop(_name)
for _name in (
    "ADDRESS", "BACKUPS", "BY_TANK", "DEBUG", "HOSTS", "LOG", "METRICS_TOKEN", "NOW", "PATIENCE", "POOL",
    "PREPARED", "SECOND_FACTOR", "SQLITE", "TEMPERATURE", "TLS",
):  # fmt: skip
    os.environ.pop(f"TIDETALLY_{_name}", None)
os.environ.pop("DATABASE_REPLICA_URL", None)
os.environ["TIDETALLY_DATA"] = str(_DATA)
os.environ["TIDETALLY_SECRET_KEY"] = "for tests only; signs nothing that lasts"
# Not UTC, and with summer time: a moment that forgets the house's zone is then wrong.
os.environ["TIDETALLY_TIME_ZONE"] = "Atlantic/Faroe"
# Playwright runs an event loop in the test's own thread, where Django would refuse the database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"

from inventory.site.settings import *  # noqa: E402, F403  (the environment comes first; all settings)
from inventory.site.settings import DATABASES  # noqa: E402

if "DATABASE_URL" not in os.environ:
    # A file, as in a house: Django's own choice, a shared cache in memory, knows no WAL and
    # locks whole tables, so that tests with two connections would test something else.
    DATABASES["default"]["TEST"] = {"NAME": str(_DATA / "test.sqlite3")}

# A test's client signs in without a request; the lock's own tests turn it on.
AXES_ENABLED = False
# Tests travel in time; those of sessions set their own.
SESSION_IDLE_MINUTES, SESSION_HOURS = 60 * 24 * 3650, 24 * 3650

# Passwords are set by the hundred and guard nothing here.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
