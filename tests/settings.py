"""Settings of the test suite: the product's own, with what would only cost time taken out."""

import atexit
import os
import shutil
import tempfile

if "EDGETALLY_DATA" not in os.environ:
    os.environ["EDGETALLY_DATA"] = tempfile.mkdtemp(prefix="edgetally-test-")
    atexit.register(shutil.rmtree, os.environ["EDGETALLY_DATA"], ignore_errors=True)
elif process := os.environ.get("PYTEST_XDIST_WORKER"):
    # A queue of its own for each process of the suite, or one would take the other's messages.
    os.environ["EDGETALLY_DATA"] = os.path.join(os.environ["EDGETALLY_DATA"], process)
    if "REDIS_URL" in os.environ:
        server, _, number = os.environ["REDIS_URL"].rpartition("/")
        os.environ["REDIS_URL"] = f"{server}/{int(number) + int(process.removeprefix('gw'))}"
# What a shop may choose is the same in every test run, whatever the machine's own shop has chosen.
os.environ.update(TIME_ZONE="UTC", CURRENCY="EUR", UNITS="metric", DEBUG="0", LOG_LEVEL="INFO")
os.environ["SECRET_KEY"] = "only-for-tests-" + "x" * 40
os.environ["ALLOWED_HOSTS"] = "localhost,127.0.0.1,testserver"
os.environ["EDGETALLY_PLAIN_HTTP"] = "1"

from config.settings import *  # noqa: F403
from config.settings import DATA_DIR, DATABASES, ON_SQLITE, STORAGES

if ON_SQLITE:
    # A file, not memory: threads of a concurrency test then meet the same locks as in a real shop.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
DATABASES["default"]["CONN_MAX_AGE"] = 0
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
# The test client signs people in without a request, which the limiter refuses; its own tests switch it on.
AXES_ENABLED = False
