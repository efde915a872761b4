"""Addresses of the census."""

from django.urls import path

from .views import (
    board,
    charts,
    checks,
    count_help,
    differences,
    line,
    notices,
    numbers,
    papers,
    periods,
    sheet,
    signing,
)

urlpatterns = [
    path("census", board.census_list, name="census_list"),
    path("census/<str:code>", board.census, name="census"),
    path("census/<str:code>/compare", board.compare, name="census_compare"),
    path("census/<str:code>/differences", differences.differences, name="differences"),
    path("census/<str:code>/differences/accept", differences.accept_ticked, name="differences_accept"),
    path("census/<str:code>/checks", checks.checks, name="census_checks"),
    path("census/<str:code>/typing", checks.typing, name="census_typing"),
    path("census/<str:code>/sign", signing.census_sign, name="census_sign"),
    path("census/<str:code>/charts", charts.census_charts, name="census_charts"),
    path("census/<str:code>/charts/<path:scientific_name>", charts.census_drift, name="census_drift"),
    path("census/<str:code>/sheets", papers.census_pdf, name="census_pdf"),
    path("periods", periods.periods, name="periods"),
    path("period/<str:code>", periods.period, name="period"),
    path("period/<str:code>/<int:number>/<str:name>", periods.paper, name="period_paper"),
    path("notices", notices.notices, name="notices"),
    path("count-help", count_help.count_help_list, name="count_help_list"),
    path("count-help/<slug:method>", count_help.count_help, name="count_help"),
    path("numbers", numbers.numbers, name="numbers"),
    path("sheet/<str:number>", sheet.sheet, name="sheet"),
    path("sheet/<str:number>/print", papers.sheet_pdf, name="sheet_pdf"),
    path("sheet/<str:number>/workbook", papers.sheet_workbook, name="sheet_workbook"),
    path("sheet/<str:number>/scans", papers.sheet_scans, name="sheet_scans"),
    path("sheet/<str:number>/scan/<int:scan>", papers.sheet_scan, name="sheet_scan"),
    path("sheet/<str:number>/<str:step>", sheet.sheet_step, name="sheet_step"),
    path("sheet/<str:number>/line/<int:line>", line.census_line, name="census_line"),
    path("sheet/<str:number>/line/<int:line>/recount", line.recount, name="census_recount"),
    path("sheet/<str:number>/line/<int:line>/proposal", line.proposal, name="census_proposal"),
]
