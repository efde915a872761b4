"""Addresses of the permits' pages."""

from django.urls import path

from .views import cites, exports, loans, permits, pools, reminders, transport, trips

urlpatterns = [
    path("permits", permits.permits, name="permits"),
    path("permits/new", permits.enter, name="permit_new"),
    path("permits/cases", trips.cases, name="cases"),
    path("permits/case/<int:pk>", trips.case, name="case"),
    path("permits/reminders", reminders.reminder_list, name="reminders"),
    path("permits/notice/<slug:key>", reminders.notice, name="notice"),
    path("permits/calendar", reminders.calendar_address, name="calendar_address"),
    path("calendar/<str:token>.ics", reminders.calendar, name="calendar"),
    path("permits/trade", cites.trade, name="trade"),
    path("permits/trade/<int:year>.<slug:form>", cites.trade_file, name="trade_file"),
    path("permits/trade/event/<int:pk>/<int:taxon>", cites.trade_event, name="trade_event"),
    path("event/<int:pk>/transport.pdf", transport.transport_paper, name="transport_paper"),
    path("permit/<int:pk>", permits.permit, name="permit"),
    path("permit/<int:pk>/amend", permits.amend, name="permit_amend"),
    path("permit/<int:pk>/line/<int:number>", permits.link, name="permit_link"),
    path("permit/<int:pk>/paper", permits.paper, name="permit_paper"),
    path("permit/<int:pk>/takes.<slug:form>", exports.takes, name="takes_file"),
    path("permit/<int:pk>/trip", trips.take_in, name="take_in"),
    path("trip/<uuid:identifier>", trips.trip, name="trip"),
    path("trip/<uuid:identifier>/correct", trips.correct_trip_page, name="trip_correct"),
    path("take/<int:pk>/correct", trips.correct, name="take_correct"),
    path("take/<int:pk>/move", trips.move, name="take_move"),
    path("lot-sources/<path:accession>", pools.lot_sources, name="lot_sources"),
    path("loans", loans.loans, name="loans"),
    path("loans/new", loans.enter, name="loan_new"),
    path("loan/<int:pk>", loans.loan, name="loan"),
]
