"""The shape of an oxygen plan in an answer."""

from rest_framework import serializers


class ChangeRow(serializers.Serializer):
    """From one cylinder to the next, by their labels."""

    after_minutes = serializers.FloatField()
    off = serializers.CharField()
    on = serializers.CharField()


class OxygenAnswer(serializers.Serializer):
    """Whether the oxygen of one vehicle lasts for its part; minutes are null where none flows."""

    vehicle = serializers.CharField(help_text="Code of the vehicle.")
    flow_l_min = serializers.FloatField(help_text="Oxygen of all babies together.")
    minutes_left = serializers.FloatField(allow_null=True)
    minutes_to_reserve = serializers.FloatField(allow_null=True)
    needed_minutes = serializers.FloatField(
        help_text="The larger of the P95 need with the reserve and twice the median need."
    )
    enough = serializers.BooleanField()
    chance_of_touching_reserve = serializers.FloatField(help_text="0 to 1, before the bedside.")
    chance_of_running_out = serializers.FloatField(help_text="0 to 1, before the bedside.")
    shortfall_litres = serializers.FloatField()
    changes = ChangeRow(many=True)
    lasting_flow_l_min = serializers.FloatField(
        allow_null=True, help_text="Arithmetic only: a lower flow is a clinician's decision."
    )
    chance_words = serializers.CharField()
    closing_words = serializers.CharField(allow_blank=True)
    words = serializers.ListField(child=serializers.CharField())
    change_words = serializers.ListField(child=serializers.CharField())
    lower_flow_words = serializers.CharField(allow_blank=True)
    cautions = serializers.ListField(child=serializers.CharField())
