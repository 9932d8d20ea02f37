"""The desk's addresses; a case code always mixes letters and digits, so none is a word."""

from django.urls import path

from transport.pages import desk, desk_referral, desk_roads, desk_stream

urlpatterns = [
    path("desk/", desk.index, name="desk"),
    path("desk/rows/", desk.rows, name="desk_rows"),
    path("desk/stream/", desk_stream.stream, name="desk_stream"),
    path("desk/alerts/<int:alert_id>/take/", desk.take_alert, name="desk_take_alert"),
    path("desk/vehicles/<slug:vehicle_code>/ready/", desk.vehicle_ready, name="vehicle_ready"),
    path("desk/kept/<int:kept_id>/done/", desk.kept_done, name="desk_kept_done"),
    path("desk/roads/", desk_roads.index, name="desk_roads"),
    path("desk/roads/report/", desk_roads.report, name="desk_closure_report"),
    path("desk/roads/season/", desk_roads.season, name="desk_season"),
    path("desk/roads/<int:closure_id>/lift/", desk_roads.lift, name="desk_closure_lift"),
    path("desk/<str:code>/", desk_referral.referral, name="desk_referral"),
    path("desk/<str:code>/<slug:verb>/", desk_referral.act, name="desk_act"),
]
