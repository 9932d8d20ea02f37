"""Districts, places, receiving units, and whom to reach there."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _
from phonenumber_field.modelfields import PhoneNumberField

from referrals.calc import check_intervals
from referrals.calc.road_settings import faults_of
from referrals.calc.rota import Turn
from referrals.calc.score_tables import fault_of_limits
from referrals.calc.shifts import NotAClockTime, clock_time_in
from referrals.calc.terms import Capability
from referrals.calc.unaccepted import default_minutes, fault_of

RESERVE_KINDS = ["unit", "vehicle", "person"]


def known_time_zone(name: str) -> None:
    """Refuse a name that the tz database does not hold."""
    if name not in available_timezones():
        raise ValidationError(_("%s is not a time zone of the tz database") % name)


def known_capabilities(codes: list[str]) -> None:
    """Refuse a capability nobody knows how to match."""
    unknown = set(codes) - {capability.value for capability in Capability}
    if unknown:
        raise ValidationError(_("unknown capabilities: %s") % ", ".join(sorted(unknown)))


def known_clock_times(texts: list[str]) -> None:
    """Refuse what is not a list of times of day, such as ``["07:00", "19:00"]``."""
    if not (isinstance(texts, list) and all(isinstance(text, str) for text in texts)):
        raise ValidationError(_('write a list of times of day, as ["07:00", "19:00"]'))
    for text in texts:
        try:
            clock_time_in(text)
        except NotAClockTime as error:
            raise ValidationError(str(error)) from error


def possible_roads(settings: object) -> None:
    """Refuse what cannot be true of roads, with the key."""
    faults = faults_of(settings)
    if faults:
        raise ValidationError([f"{key} {sentence}".strip() for key, sentence in faults.items()])


def possible_limits(limits: object) -> None:
    """Refuse limits that are no minutes by urgency."""
    fault = fault_of(limits)
    if fault:
        raise ValidationError(fault)


def possible_tops_limits(limits: object) -> None:
    """Refuse limits of TOPS that no measurement can have."""
    fault = fault_of_limits(limits)
    if fault:
        raise ValidationError(fault)


def possible_intervals(settings: object) -> None:
    """Refuse intervals that are no minutes by state."""
    fault = check_intervals.fault_of(settings)
    if fault:
        raise ValidationError(fault)


def default_ventilated_waits() -> list[float]:
    """Minutes after the first call at which the next step of a ladder begins, baby ventilated."""
    return [1, 2, 4]


def default_stable_waits() -> list[float]:
    """The same for a stable baby."""
    return [3, 6, 10]


class District(models.Model):
    """A health district: one desk, its sites, and the times it has agreed on."""

    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=60, default="UTC", validators=[known_time_zone])
    phone_region = models.CharField(max_length=2, blank=True)
    desk_phone = PhoneNumberField(blank=True)
    rainy_season = models.BooleanField(
        null=True, blank=True, help_text="Yes or no by the desk; unknown: by the rainy months."
    )
    detour_factor = models.FloatField(
        default=1.4, validators=[MinValueValidator(1), MaxValueValidator(5)]
    )
    travel_settings = models.JSONField(
        default=dict,
        blank=True,
        validators=[possible_roads],
        help_text="Speeds, rain and night factors, rainy months, as in district.json.",
    )
    oxygen_reserve_bar = models.FloatField(
        default=30, validators=[MinValueValidator(0), MaxValueValidator(100)]
    )

    ventilated_waits = models.JSONField(default=default_ventilated_waits)
    stable_waits = models.JSONField(default=default_stable_waits)
    without_acceptance = models.JSONField(
        default=default_minutes,
        validators=[possible_limits],
        help_text="Minutes by urgency until the desk may send a vehicle toward the standing unit.",
    )
    tops_limits = models.JSONField(
        default=dict,
        blank=True,
        validators=[possible_tops_limits],
        help_text="Where items of TOPS count as deranged; empty: 36.5 °C, 90 %, 3 s, 40 mg/dL.",
    )
    check_minutes = models.FloatField(default=15)
    temperature_minutes = models.FloatField(default=60)
    intervals_by_state = models.JSONField(
        default=dict,
        blank=True,
        validators=[possible_intervals],
        help_text='Where a state has other minutes: {"cold": {"check": 15, "temperature": 30}}.',
    )
    check_grace_minutes = models.FloatField(default=5)
    offer_answer_minutes = models.FloatField(default=5)
    vehicle_search_minutes = models.FloatField(default=5)
    departure_minutes = models.FloatField(default=45)
    silence_minutes = models.FloatField(
        default=10,
        help_text="On the road without a position; it may be out of coverage (common practice, "
        "no source).",
    )
    post_silent_minutes = models.FloatField(
        default=20,
        validators=[MinValueValidator(1)],
        help_text="Nothing heard of the post before the baby leaves (common practice, no source).",
    )
    standing_still_minutes = models.FloatField(
        default=15,
        validators=[MinValueValidator(1)],
        help_text="On the road in one spot, not at a site (common practice, no source).",
    )
    off_way_km = models.FloatField(
        default=5,
        validators=[MinValueValidator(1)],
        help_text="Farther from the unit than before, off the straight line; twice as far on it "
        "(common practice, no source).",
    )
    arrival_slip_minutes = models.FloatField(
        default=20,
        validators=[MinValueValidator(1)],
        help_text="Later or earlier than the unit was told, and more than a third of what is left "
        "to drive (common practice, no source).",
    )
    swap_minutes = models.FloatField(
        default=5,
        validators=[MinValueValidator(0), MaxValueValidator(240)],
        help_text=(
            "Minutes of a baby ventilated by hand that must be saved before another vehicle is "
            "proposed than before (common practice, no source)."
        ),
    )
    handover_minutes = models.FloatField(default=20)
    outcome_hours = models.FloatField(default=24)
    observation_minutes = models.FloatField(
        default=120,
        validators=[MinValueValidator(0)],
        help_text=(
            "After ventilation a baby is watched breathing alone for so long before it can be "
            "written down as recovered (common practice, no source)."
        ),
    )
    loading_minutes = models.FloatField(default=10)
    bedside_minutes = models.FloatField(default=10)
    standing_unit = models.ForeignKey(
        "Unit", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return self.name


class Site(models.Model):
    """Any place with coordinates: a health post, a hospital, a landing, a depot."""

    district = models.ForeignKey(District, on_delete=models.PROTECT, related_name="sites")
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=30)
    latitude = models.FloatField()
    longitude = models.FloatField()
    phone = PhoneNumberField(blank=True)
    land = models.CharField(
        max_length=60,
        blank=True,
        help_text=(
            "The island or shore on which it lies, if no road joins it with the rest of the "
            "district; empty for the mainland."
        ),
    )

    class Meta:
        indexes = [models.Index(fields=["district", "latitude"], name="site_by_latitude")]
        constraints = [
            models.CheckConstraint(
                name="site_on_earth",
                condition=models.Q(
                    latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180
                ),
            )
        ]

    def __str__(self) -> str:
        return self.name


class Unit(models.Model):
    """A newborn unit at a site: what it can do and how many cots are free."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="units")
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    level = models.CharField(max_length=30)
    capabilities = models.JSONField(default=list, validators=[known_capabilities])
    cots_total = models.PositiveIntegerField(default=0)
    cots_free = models.PositiveIntegerField(
        default=0, help_text="Free and not promised to a baby on the way."
    )
    cots_reported_at = models.DateTimeField(null=True, blank=True)
    is_open = models.BooleanField(default=True)
    entrance = models.CharField(max_length=120, blank=True)
    phone = PhoneNumberField(blank=True)
    shift_changes = models.JSONField(
        default=list,
        blank=True,
        validators=[known_clock_times],
        help_text=(
            'Clock times in the district\'s zone, as ["07:00", "19:00"]; at each, a unit that '
            "expects a baby is asked whether the cot is still ready."
        ),
    )

    class Meta:
        constraints = [
            # PostgreSQL and SQLite both refuse what the type alone does not.
            models.CheckConstraint(
                name="cots_never_below_zero", condition=models.Q(cots_free__gte=0)
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.site.name}"


class ReserveContact(models.Model):
    """Somebody to ring when nobody of the district can: a unit elsewhere, the owner of a boat."""

    district = models.ForeignKey(District, on_delete=models.CASCADE, related_name="reserves")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=8)
    phone = PhoneNumberField()
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["kind", "id"]
        constraints = [
            models.CheckConstraint(
                name="reserve_kind_known", condition=models.Q(kind__in=RESERVE_KINDS)
            )
        ]

    def __str__(self) -> str:
        return self.name


class CotReport(models.Model):
    """How many cots were free, told by whom and when."""

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="cot_reports")
    cots_free = models.PositiveIntegerField()
    is_open = models.BooleanField()
    reported_by = models.CharField(max_length=150)
    reported_at = models.DateTimeField()
    before = models.JSONField(
        null=True,
        blank=True,
        help_text="What stood before: cots_free, is_open, cots_reported_at.",
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return f"{self.unit}: {self.cots_free} free"


class Contact(models.Model):
    """One way to reach one person of a unit or of the desk, and at which step of the ladder."""

    unit = models.ForeignKey(
        Unit, on_delete=models.CASCADE, null=True, blank=True, related_name="contacts"
    )
    district = models.ForeignKey(
        District, on_delete=models.CASCADE, null=True, blank=True, related_name="contacts"
    )
    step = models.PositiveSmallIntegerField(default=0)
    staff = models.ForeignKey("Staff", on_delete=models.CASCADE)
    channel = models.CharField(max_length=12)

    class Meta:
        ordering = ["step", "id"]
        constraints = [
            models.CheckConstraint(
                name="contact_of_unit_or_desk",
                condition=models.Q(unit__isnull=False, district__isnull=True)
                | models.Q(unit__isnull=True, district__isnull=False),
            ),
            models.CheckConstraint(
                name="contact_channel_known",
                condition=models.Q(channel__in=["sms", "voice", "email", "screen"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.staff} by {self.channel}"

    @property
    def address(self) -> str:
        """The number or mailbox for the channel; the screen has the person's user name."""
        if self.channel == "email":
            return self.staff.email
        if self.channel == "screen":
            return self.staff.username
        return self.staff.phone.as_e164 if self.staff.phone else ""


class Shift(models.Model):
    """When a person of a unit or of the desk is on duty, in a week that repeats.

    Clock times in the district's zone; one that ends at or before its start ends the next day.
    A team without a single shift is always on duty.
    """

    unit = models.ForeignKey(
        Unit, on_delete=models.CASCADE, null=True, blank=True, related_name="shifts"
    )
    district = models.ForeignKey(
        District, on_delete=models.CASCADE, null=True, blank=True, related_name="shifts"
    )
    staff = models.ForeignKey("Staff", on_delete=models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(
        validators=[MaxValueValidator(6)], help_text="0 is Monday, 6 is Sunday."
    )
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["weekday", "starts", "id"]
        constraints = [
            models.CheckConstraint(
                name="shift_of_unit_or_desk",
                condition=models.Q(unit__isnull=False, district__isnull=True)
                | models.Q(unit__isnull=True, district__isnull=False),
            ),
            models.CheckConstraint(
                name="shift_on_a_weekday", condition=models.Q(weekday__gte=0, weekday__lte=6)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.staff}, {WEEKDAYS[self.weekday]} {self.starts:%H:%M} to {self.ends:%H:%M}"

    @property
    def turn(self) -> Turn:
        """The same for computing."""
        return Turn(weekday=self.weekday, starts=self.starts, ends=self.ends)
