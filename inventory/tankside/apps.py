from django.apps import AppConfig


class TanksideRoom(AppConfig):
    name = "inventory.tankside"
    label = "tankside"
    default_auto_field = "django.db.models.BigAutoField"
