"""What gunicorn serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
# A page that keeps the database busy longer than this holds up others: it is given up with an error
# page.
os.environ.setdefault("SPANBOOK_STATEMENT_SECONDS", "10")

application = get_wsgi_application()
