from django.apps import AppConfig


class TanksideRoom(AppConfig):
    name = "inventory.tankside"
    label = "tankside"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # The pages of taxa, lots and events show pictures, and know nothing of where pictures are kept.
        from inventory.book import pictured

        from .queries.entry_pictures import of_events
        from .queries.pictures import picture_of

        pictured.ask(picture_of)
        pictured.ask_of_events(of_events)
        # Nor do they know what was found of a death afterwards.
        from inventory.book import found_later

        from .queries.causes import found_of_events

        found_later.ask(found_of_events)
        # The form of an event does not know of finds either, and is filled in from one.
        from inventory.book import filled_in

        from .queries.unlisted import values_for_the_form

        filled_in.ask("finding", values_for_the_form)
        # A death is an alarm wherever it is entered.
        from inventory.book.actions import record

        from .actions.alarms import alarms_of_recorded

        record.ask(alarms_of_recorded)
