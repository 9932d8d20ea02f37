"""The addresses of the demo, below ``/demo/``."""

from django.urls import path

from fixtures_demo.phones import views

urlpatterns = [
    path("", views.start, name="demo_start"),
    path("gateway/sms/", views.gateway, {"kind": "sms"}, name="demo_gateway_sms"),
    path("gateway/voice/", views.gateway, {"kind": "voice"}, name="demo_gateway_voice"),
    path("gateway/behaviour/", views.set_gateway, name="demo_gateway_behaviour"),
    path("phone/", views.phone, name="demo_phone"),
    path("phone/write/", views.write, name="demo_write"),
    path("phone/ring/", views.ring, name="demo_ring"),
    path("phone/newest/", views.newest, name="demo_newest"),
    path("phone/messages/<int:message_id>/open/", views.open_message, name="demo_open_message"),
]
