from django.apps import AppConfig


class TanksideRoom(AppConfig):
    name = "inventory.tankside"
    label = "tankside"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # The pages of taxa and lots show a picture, and know nothing of where pictures are kept.
        from inventory.book import pictured

        from .queries.pictures import picture_of

        pictured.ask(picture_of)
