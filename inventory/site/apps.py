from django.apps import AppConfig


class SiteRoom(AppConfig):
    name = "inventory.site"
    label = "site"
    default_auto_field = "django.db.models.BigAutoField"
