from pathlib import Path

from django.apps import AppConfig
from django.conf import settings


class SiteRoom(AppConfig):
    name = "inventory.site"
    label = "site"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # WhiteNoise warns about a folder that collectstatic has not made yet, while it serves the
        # files from the rooms all the same; in the tests warnings are errors.
        Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
