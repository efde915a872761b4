from django.apps import AppConfig


class RoundsRoom(AppConfig):
    name = "census.rounds"
    label = "rounds"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # What the permit officer has to hear at once goes out with the post of alarms.
        from inventory.tankside.actions import post

        from .actions.mailing import about_notice
        from .models import NoticePost

        post.carry(NoticePost, about_notice)
