"""How right the forecasts were, as programs read it."""

from __future__ import annotations

from rest_framework import serializers

from crib.life.models import LifeModel
from crib.life.selectors import Accuracy, Against, Judged


class AgainstSerializer(serializers.Serializer[Against]):
    """Our forecasts beside one naive rival's, where both had an answer."""

    rival = serializers.CharField(help_text="fixed_count, mean_life or last_life")
    forecasts = serializers.IntegerField()
    edges = serializers.IntegerField()
    ours = serializers.FloatField(allow_null=True, help_text="mean CRPS of our forecasts, minutes")
    theirs = serializers.FloatField(allow_null=True, help_text="mean error of the rival's, minutes")
    skill = serializers.FloatField(allow_null=True, help_text="1 - ours / theirs")
    low = serializers.FloatField(allow_null=True, help_text="10 % of the range that chance leaves the skill")
    high = serializers.FloatField(allow_null=True, help_text="90 % of that range")


class JudgedSerializer(serializers.Serializer[Judged]):
    """How forecasts held, and what they were worth."""

    of = serializers.SerializerMethodField(help_text="life model, point of life or month; null overall")
    forecasts = serializers.IntegerField(source="worth.forecasts")
    edges_ended = serializers.IntegerField(source="held.edges")
    inside_80 = serializers.FloatField(source="held.share", allow_null=True)
    before_low = serializers.FloatField(source="held.early", allow_null=True)
    verdict = serializers.CharField(source="held.verdict", help_text="none, few, narrow, wide or fair")
    crps = serializers.FloatField(source="worth.crps", allow_null=True)
    pinball_10 = serializers.FloatField(source="worth.pinball_10", allow_null=True)
    pinball_50 = serializers.FloatField(source="worth.pinball_50", allow_null=True)
    pinball_90 = serializers.FloatField(source="worth.pinball_90", allow_null=True)
    against = AgainstSerializer(source="worth.against", many=True)
    warnings = serializers.ListField(child=serializers.CharField())

    def get_of(self, judged: Judged) -> str | None:
        if judged.of is None:
            return None
        return str(judged.of.pk if isinstance(judged.of, LifeModel) else judged.of)


class AccuracySerializer(serializers.Serializer[Accuracy]):
    """The whole record of the forecasts."""

    overall = JudgedSerializer()
    groups = JudgedSerializer(many=True)
    points = JudgedSerializer(many=True)
    months = JudgedSerializer(many=True)
