"""Addresses of the census."""

from django.urls import path

from .views import board, differences, numbers, periods, sheet, signing

urlpatterns = [
    path("census", board.census_list, name="census_list"),
    path("census/<str:code>", board.census, name="census"),
    path("census/<str:code>/compare", board.compare, name="census_compare"),
    path("census/<str:code>/differences", differences.differences, name="differences"),
    path("census/<str:code>/sign", signing.census_sign, name="census_sign"),
    path("periods", periods.periods, name="periods"),
    path("period/<str:code>", periods.period, name="period"),
    path("period/<str:code>/<int:number>/<str:name>", periods.paper, name="period_paper"),
    path("numbers", numbers.numbers, name="numbers"),
    path("sheet/<str:number>", sheet.sheet, name="sheet"),
    path("sheet/<str:number>/<str:step>", sheet.sheet_step, name="sheet_step"),
    path("sheet/<str:number>/line/<int:line>", differences.census_line, name="census_line"),
    path("sheet/<str:number>/line/<int:line>/recount", differences.recount, name="census_recount"),
]
