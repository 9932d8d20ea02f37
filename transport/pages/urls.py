"""The pages of the journey side, by role."""

from django.urls import include, path

from transport.pages import (
    attendant,
    attendant_check,
    attendant_chest,
    attendant_lists,
    attendant_questions,
    attendant_telling,
    by_link,
    scoring,
    unit,
    unit_answers,
    unit_needs,
    unit_receiving,
)

of_question = [
    path("", unit_answers.question, name="question"),
    path("now/", unit_answers.question_now, name="now"),
    path("accept/", unit_answers.accept, name="accept"),
    path("reconfirm/", unit_answers.reconfirm, name="reconfirm"),
    path("decline/", unit_answers.decline, name="decline"),
    path("advice/", unit_answers.advice, name="advice"),
    path("told/<slug:kind>/<int:number>/", unit_answers.put_right, name="put_right"),
    path("needs/<int:need>/", unit_needs.set_aside, name="need"),
    path("prepare/", unit_answers.prepare, name="prepare"),
    path("receive/<int:birth_order>/", unit_receiving.receive, name="receive"),
    path("receive/<int:birth_order>/take-back/", unit_receiving.not_received, name="not_received"),
    path("outcome/<int:birth_order>/", unit_receiving.outcome, name="outcome"),
    path("scores/<int:birth_order>/", scoring.unit_scores, name="scores"),
    path("scores/<int:birth_order>/<slug:kind>/", scoring.unit_score, name="score"),
]

of_case = [
    path("", attendant.case, name="attendant_case"),
    path("now/", attendant.happening, name="happening"),
    path("timeline/", attendant.timeline, name="timeline"),
    path("print/", attendant.slip, name="slip"),
    path("take-back/", attendant.take_back, name="take_back"),
    path("details/", attendant_questions.details, name="details"),
    path("details/<str:whose>/<slug:question>/", attendant_questions.question, name="question"),
    path("told/", attendant_questions.told, name="told"),
    path("babies/", attendant_questions.another_baby, name="another_baby"),
    path("babies/<int:birth_order>/back/", attendant_questions.no_such_baby, name="no_such_baby"),
    path("stopped/", attendant_check.stopped, name="stopped"),
    path("check/<int:birth_order>/", attendant_check.check, name="check"),
    path(
        "check/<int:birth_order>/<slug:question>/",
        attendant_check.check_question,
        name="check_question",
    ),
    path("told/<slug:kind>/<int:number>/", attendant_telling.put_right, name="put_right"),
    path("chest/<int:birth_order>/", attendant_chest.chest, name="chest"),
    path("treatment/", attendant_telling.treatment, name="treatment"),
    path("advice/", attendant_telling.advice, name="advice"),
    path("before-leaving/", attendant_lists.before_leaving, name="before_leaving"),
    path("ending/<int:birth_order>/", attendant_telling.ending, name="ending"),
    path("ending/<int:birth_order>/reverse/", attendant_telling.reverse_ending, name="reverse"),
    path("handover/<int:birth_order>/", attendant_telling.give, name="give"),
    path("handover/<int:birth_order>/take-back/", attendant_telling.not_given, name="not_given"),
    path("scores/<int:birth_order>/", scoring.escort_scores, name="escort_scores"),
    path("scores/<int:birth_order>/<slug:kind>/", scoring.escort_score, name="escort_score"),
    path("go-on/", attendant_telling.go_on, name="go_on"),
]

urlpatterns = [
    path("post/", attendant.post, name="post"),
    path("post/outcomes/<int:outcome>/read/", attendant.outcome_read, name="outcome_read"),
    path("post/ready/<slug:site>/", attendant_lists.ready, name="ready_before_birth"),
    path("r/<str:code>/", include(of_case)),
    path("unit/", unit.units, name="units"),
    path("unit/now/", unit.units_now, name="units_now"),
    path("unit/cots/undo/<int:report>/", unit.cots_undo, name="cots_undo"),
    path("unit/cots/<int:unit>/", unit.cots, name="cots"),
    path("unit/<int:offer>/", include((of_question, "unit"))),
    path("u/<str:token>/", include((of_question, "link"))),
    path("a/<str:token>/question/", by_link.question, name="question_by_link"),
    path("a/<str:token>/drive/", by_link.driver, name="driver_from_alert"),
    path("", include("transport.pages.desk_urls")),
    path("", include("transport.pages.driver_urls")),
]
