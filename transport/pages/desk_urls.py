"""The desk's addresses; a case code always mixes letters and digits, so none is a word."""

from django.urls import path

from transport.pages import (
    desk,
    desk_calls,
    desk_came_in,
    desk_closed,
    desk_gauges,
    desk_map,
    desk_raise,
    desk_referral,
    desk_roads,
    desk_shown,
    desk_stream,
)

urlpatterns = [
    path("desk/", desk.index, name="desk"),
    path("desk/rows/", desk.rows, name="desk_rows"),
    path("desk/stream/", desk_stream.stream, name="desk_stream"),
    path("desk/alerts/<int:alert_id>/take/", desk.take_alert, name="desk_take_alert"),
    path(
        "desk/alerts/<int:alert_id>/give-back/", desk.give_alert_back, name="desk_give_alert_back"
    ),
    path("desk/vehicles/<slug:vehicle_code>/ready/", desk.vehicle_ready, name="vehicle_ready"),
    path(
        "desk/vehicles/<slug:vehicle_code>/steps/<slug:step>/",
        desk.vehicle_step,
        name="vehicle_step",
    ),
    path(
        "desk/vehicles/<slug:vehicle_code>/not-ready/",
        desk.vehicle_not_ready,
        name="vehicle_not_ready",
    ),
    path("desk/came-in/", desk_came_in.index, name="desk_came_in"),
    path("desk/came-in/<int:kept_id>/done/", desk_came_in.done, name="desk_kept_done"),
    path("desk/came-in/<int:kept_id>/undo/", desk_came_in.undone, name="desk_kept_undone"),
    path("desk/raise/", desk_raise.call_for, name="desk_raise"),
    path("desk/map/", desk_map.index, name="desk_map"),
    path("desk/map/now/", desk_map.now, name="desk_map_now"),
    path("desk/closed/", desk_closed.index, name="desk_closed"),
    path("desk/vehicles/<slug:vehicle_code>/gauges/", desk_gauges.gauges, name="vehicle_gauges"),
    path("desk/roads/", desk_roads.index, name="desk_roads"),
    path("desk/roads/report/", desk_roads.report, name="desk_closure_report"),
    path("desk/roads/season/", desk_roads.season, name="desk_season"),
    path("desk/roads/<int:closure_id>/lift/", desk_roads.lift, name="desk_closure_lift"),
    path("desk/roads/legs/", desk_roads.enter_leg, name="desk_leg_enter"),
    path("desk/roads/legs/<int:leg_id>/<slug:verb>/", desk_roads.switch_leg, name="desk_leg"),
    path("desk/<str:code>/calls/", desk_calls.index, name="desk_calls"),
    path("desk/<str:code>/calls/made/", desk_calls.made, name="desk_call_made"),
    path("desk/<str:code>/calls/charge/", desk_calls.charge, name="desk_charge"),
    path("desk/<str:code>/asked/<int:number>/", desk_shown.index, name="desk_shown"),
    path("desk/<str:code>/", desk_referral.referral, name="desk_referral"),
    path(
        "desk/<str:code>/told/<slug:kind>/<int:number>/",
        desk_referral.put_right,
        name="desk_put_right",
    ),
    path("desk/<str:code>/<slug:verb>/", desk_referral.act, name="desk_act"),
]
