"""Django as a WSGI application; `frontend.asgi` runs it in threads."""

import os

from django.core.wsgi import get_wsgi_application

__all__ = ["application"]

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "frontend.settings")
application = get_wsgi_application()
