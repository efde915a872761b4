"""Addresses of the permits' pages."""

from django.urls import path

from .views import authorities, cites, exports, loans, permits, pools, reminders, returns, transport, trips

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
    path("permit/<int:pk>/statement", permits.statement, name="permit_statement"),
    path("permit/<int:pk>/paper", permits.paper, name="permit_paper"),
    path("permit/<int:pk>/takes.<slug:form>", exports.takes, name="takes_file"),
    path("permit/<int:pk>/trip", trips.take_in, name="take_in"),
    path("trip/<uuid:identifier>", trips.trip, name="trip"),
    path("trip/<uuid:identifier>/correct", trips.correct_trip_page, name="trip_correct"),
    path("take/<int:pk>/correct", trips.correct, name="take_correct"),
    path("take/<int:pk>/move", trips.move, name="take_move"),
    path("permits/returns", returns.returns, name="returns"),
    path("permit/<int:pk>/return", returns.draft, name="return_draft"),
    path("permit/<int:pk>/return/nil", returns.nil, name="return_nil"),
    path("return/<int:pk>", returns.frozen, name="return"),
    path("return/<int:pk>/file.<slug:form>", returns.file, name="return_file"),
    path("permits/correction/<slug:of>/<int:row>/approve", returns.approve, name="approve_correction"),
    path("authority/<int:pk>", authorities.authority, name="authority"),
    path("authority/<int:pk>/form", authorities.template, name="template_new"),
    path("authority/<int:pk>/form/<int:number>", authorities.template, name="template"),
    path("lot-sources/<path:accession>", pools.lot_sources, name="lot_sources"),
    path("loans", loans.loans, name="loans"),
    path("loans/new", loans.enter, name="loan_new"),
    path("loan/<int:pk>", loans.loan, name="loan"),
]
