from django.apps import AppConfig


class PopulationRoom(AppConfig):
    name = "census.population"
    label = "population"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_save

        from inventory.book.models import PeriodVersion

        from .actions.expect import keep_at_closing

        post_save.connect(keep_at_closing, sender=PeriodVersion, dispatch_uid="population_expectations")
