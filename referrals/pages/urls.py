"""The ways in, the links in messages, and the beat; the pages of each role are transport's."""

from django.urls import path

from referrals.pages import answering, entrance, rules

urlpatterns = [
    path("", entrance.home, name="home"),
    path("sign-in/", entrance.sign_in, name="sign_in"),
    path("sign-out/", entrance.sign_out, name="sign_out"),
    path("enter/<str:token>/", entrance.enter, name="enter"),
    path("kept/<str:token>/", entrance.kept_form, name="kept"),
    path("c/<str:code>/", entrance.case, name="case"),
    path("a/<str:token>/", answering.answer, name="answer"),
    path("rules/<slug:district>/", rules.index, name="rules"),
    path("rules/<slug:district>/<slug:code>/", rules.table, name="rule_table"),
    path(
        "rules/<slug:district>/<slug:code>/not-adopted/",
        rules.not_adopted,
        name="rule_not_adopted",
    ),
    path("beat/", entrance.beat, name="beat"),
]
