"""Addresses of the book: where animals live, lots, and what happened to them."""

from django.urls import path

from . import views, views_document, views_history, views_keeping, views_record, views_taxon, views_ways_out

urlpatterns = [
    path("places", views.places, name="places"),
    path("place/<path:code>", views.place, name="place"),
    path("history/<slug:kind>/<path:key>", views_history.history, name="history"),
    path("keepers/<path:code>", views_keeping.keepers, name="keepers"),
    path("ways-out/<path:code>", views_ways_out.ways_out, name="ways_out"),
    path("lots", views.lots, name="lots"),
    path("lot/<path:accession>", views.lot, name="lot"),
    path("taxon/<path:scientific_name>", views_taxon.taxon, name="taxon"),
    path("event/<int:pk>", views.event, name="event"),
    path("below-zero", views.below_zero, name="below_zero"),
    path("late-entries", views_record.late_entries, name="late_entries"),
    path("event/<int:pk>/take-back", views_record.take_back, name="take_back"),
    path("document/<slug:sha256>", views_document.document, name="document"),
    path("record/<slug:kind>/<path:accession>", views_record.record, name="record"),
]
