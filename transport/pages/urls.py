"""The pages of the journey side, by role."""

from django.urls import include, path

from transport.pages import attendant, attendant_details, attendant_telling, by_link, unit

of_question = [
    path("", unit.question, name="question"),
    path("now/", unit.question_now, name="now"),
    path("accept/", unit.accept, name="accept"),
    path("reconfirm/", unit.reconfirm, name="reconfirm"),
    path("decline/", unit.decline, name="decline"),
    path("advice/", unit.advice, name="advice"),
    path("prepare/", unit.prepare, name="prepare"),
    path("receive/<int:birth_order>/", unit.receive, name="receive"),
    path("outcome/<int:birth_order>/", unit.outcome, name="outcome"),
]

of_case = [
    path("", attendant.case, name="attendant_case"),
    path("now/", attendant.happening, name="happening"),
    path("timeline/", attendant.timeline, name="timeline"),
    path("print/", attendant.slip, name="slip"),
    path("take-back/", attendant.take_back, name="take_back"),
    path("details/", attendant_details.details, name="details"),
    path(
        "details/<int:birth_order>/<int:screen>/", attendant_details.details, name="details_screen"
    ),
    path("check/<int:birth_order>/", attendant_telling.check, name="check"),
    path("correct/<int:observation>/", attendant_telling.correct, name="correct"),
    path("treatment/", attendant_telling.treatment, name="treatment"),
    path("mother/", attendant_telling.mother, name="mother"),
    path("advice/", attendant_telling.advice, name="advice"),
    path("before-leaving/", attendant_telling.before_leaving, name="before_leaving"),
    path("ending/<int:birth_order>/", attendant_telling.ending, name="ending"),
    path("ending/<int:birth_order>/reverse/", attendant_telling.reverse_ending, name="reverse"),
    path("handover/<int:birth_order>/", attendant_telling.give, name="give"),
]

urlpatterns = [
    path("post/", attendant.post, name="post"),
    path("post/outcomes/<int:outcome>/read/", attendant.outcome_read, name="outcome_read"),
    path("r/<str:code>/", include(of_case)),
    path("unit/", unit.units, name="units"),
    path("unit/now/", unit.units_now, name="units_now"),
    path("unit/cots/<int:unit>/", unit.cots, name="cots"),
    path("unit/<int:offer>/", include((of_question, "unit"))),
    path("u/<str:token>/", include((of_question, "link"))),
    path("a/<str:token>/question/", by_link.question, name="question_by_link"),
    path("a/<str:token>/drive/", by_link.driver, name="driver_from_alert"),
    path("", include("transport.pages.desk_urls")),
    path("", include("transport.pages.driver_urls")),
]
