from django.apps import AppConfig


class PermitsRoom(AppConfig):
    name = "inventory.permits"
    label = "permits"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # The book's load reads the sheets of this room, and knows nothing of permits.
        from inventory.book.actions.load import guests

        from .actions.sheets import guest

        guests.ask(guest())
        # Files of returns tell exact places; papers are opened by who may open their page.
        from inventory.book import withheld

        from .queries.pages import page_of_permit
        from .queries.papers import shows
        from .queries.returns import why_withheld

        withheld.ask(why_withheld)
        withheld.show(shows)
        # A history knows a permit by its number alone, for events name permits that nobody entered.
        from inventory.book import history

        history.show(history.About.PERMIT, page_of_permit)
