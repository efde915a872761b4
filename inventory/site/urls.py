"""Every address of the house: each room brings its own."""

from django.urls import URLPattern, URLResolver, include, path

from . import views, views_machine
from .api import api

ROOMS = (
    "inventory.people.urls",
    # Before the book, whose place/<code> would take place/<code>/log for a place.
    "inventory.tankside.urls",
    "inventory.book.urls",
    "inventory.names.urls",
    "inventory.permits.urls",
    "census.rounds.urls",
    "census.change.urls",
    "census.population.urls",
    "census.reports.urls",
    "census.whole_book.urls",
)

urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.today, name="today"),
    path("my-tanks", views.my_tanks, name="my_tanks"),
    path("health", views_machine.health, name="health"),
    path("ready", views_machine.ready, name="ready"),
    path("metrics", views_machine.metrics, name="metrics"),
    path("machine", views_machine.machine, name="machine"),
    path("machine/head.pdf", views_machine.head_paper, name="head_paper"),
    path("api/v1/", api.urls),
    *(path("", include(room)) for room in ROOMS),
]

# For whatever is raised anywhere: what will pass is told as that.
handler500 = "inventory.site.failures.answer_failure"
