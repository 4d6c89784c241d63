"""Settings for tests: the site's own, on servers started for this run, without what only costs
time.
"""

import os

from tests.servers import servers

servers.name()
if "PYTEST_VERSION" not in os.environ:
    servers.start()  # pytest starts them itself, where a test needs them (conftest.py)

from deploy.settings import *  # noqa: E402, F403 - only now does the environment name the servers
from deploy.settings import DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    # live_server serves files by their plain names.
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
# With a root, every test client would scan it again.
STATIC_ROOT = None
WHITENOISE_AUTOREFRESH = True
# A connection that stays open keeps the test database from being dropped.
DATABASES["default"] |= {"CONN_MAX_AGE": 0, "CONN_HEALTH_CHECKS": False}
