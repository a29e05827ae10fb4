from __future__ import annotations

from decimal import Decimal

from django.core.validators import MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

CODE = RegexValidator(
    r"\A[A-Z0-9][A-Z0-9._/\-]*\Z",
    "A code is made of capital letters, digits and . _ / - and begins with a letter or digit.",
)


class Retirable(models.Model):
    """Something that is retired instead of deleted, because moves, runs and outcomes refer to it."""

    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def retired(self) -> bool:
        return self.retired_at is not None


class Design(Retirable):
    """A catalogue entry: one kind of tip, insert, body, holder, drill, tap, solid mill or accessory.

    Lengths are in mm and speeds in 1/min; the ISO 13399 symbol stands beside each where there is one.
    """

    class Kind(models.TextChoices):
        TIP = "tip", "Tip"
        INSERT = "insert", "Insert"
        BODY = "body", "Body"
        HOLDER = "holder", "Holder"
        DRILL = "drill", "Drill"
        TAP = "tap", "Tap"
        SOLID_MILL = "solid_mill", "Solid mill"
        ACCESSORY = "accessory", "Accessory"

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    description = models.CharField(max_length=200)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    family = models.CharField(
        max_length=60, blank=True, help_text="designs that wear alike, such as one grade and shape"
    )
    makers_number = models.CharField(max_length=60, blank=True, db_index=True)
    unit_cost = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    pack_size = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1)])
    returnable = models.BooleanField(
        default=False, help_text="comes back to the crib, instead of being handed out for good"
    )
    return_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="days after which one that comes back is overdue; empty: the house's own"
    )
    regrinds_allowed = models.PositiveSmallIntegerField(default=0)
    regrind_cost = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    carbide_mass_g = models.FloatField(null=True, blank=True)
    edges = models.PositiveSmallIntegerField(default=0, help_text="corners or bands; 0 for what does not cut")
    seats = models.PositiveSmallIntegerField(default=0, help_text="tips that a body takes")

    diameter_mm = models.FloatField("cutting diameter DC", null=True, blank=True)
    tip_flat_mm = models.FloatField("tip-flat diameter", null=True, blank=True)
    teeth = models.PositiveSmallIntegerField("teeth ZEFP", null=True, blank=True)
    included_angle_deg = models.FloatField("included angle", null=True, blank=True)
    lead_angle_deg = models.FloatField("cutting edge angle KAPR", null=True, blank=True)
    corner_radius_mm = models.FloatField("corner radius RE", null=True, blank=True)
    max_depth_mm = models.FloatField("largest depth of cut APMX", null=True, blank=True)
    point_angle_deg = models.FloatField("point angle SIG", null=True, blank=True)
    pitch_mm = models.FloatField("thread pitch TP", null=True, blank=True)
    shank_mm = models.FloatField("shank diameter DMM", null=True, blank=True)
    length_mm = models.FloatField("functional length LF", null=True, blank=True)
    max_spindle_speed = models.FloatField("largest spindle speed RPMX", null=True, blank=True, help_text="1/min")
    hone_mm = models.FloatField("hone of the edge", null=True, blank=True, help_text="a thinner chip rubs")
    max_chip_mm = models.FloatField("largest chip thickness", null=True, blank=True)

    clamp_torque_nm = models.FloatField(
        "tightening torque", null=True, blank=True, help_text="N·m, by its maker, of the screw or nut that clamps in it"
    )
    balance_note = models.CharField(
        max_length=80,
        blank=True,
        default="",
        db_default="",
        help_text='as its maker states it, such as "G 2.5 at 12 000 1/min"',
    )

    machine_side_system = models.CharField(max_length=30, blank=True, help_text="coupling towards the machine")
    machine_side_size = models.CharField(max_length=20, blank=True)
    work_side_system = models.CharField(max_length=30, blank=True, help_text="coupling towards the work")
    work_side_size = models.CharField(max_length=20, blank=True)

    search_text = models.TextField(
        blank=True, default="", db_default="", editable=False, help_text="what the search box looks through"
    )

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(unit_cost__gte=0), name="design_cost_not_negative"),
            models.CheckConstraint(condition=Q(pack_size__gte=1), name="design_pack_at_least_one"),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def cuts(self) -> bool:
        """Whether it has working edges at all."""
        return self.edges > 0

    @property
    def kept_as_items(self) -> bool:
        """Whether each piece is an item of its own from receipt on."""
        return self.kind in (self.Kind.BODY, self.Kind.HOLDER)


class WorkMaterial(Retirable):
    """A metal that the shop cuts; every figure names its source or the word "assumed"."""

    class Group(models.TextChoices):
        P = "P", "P steel"
        M = "M", "M stainless steel"
        K = "K", "K cast iron"
        N = "N", "N non-ferrous"
        S = "S", "S heat-resistant and titanium alloys"
        H = "H", "H hardened steel"

    name = models.CharField(max_length=80, unique=True)
    iso_group = models.CharField("ISO 513 group", max_length=1, choices=Group.choices)
    hardness = models.CharField(max_length=40, blank=True, help_text='range with its scale, such as "230-290 HB"')
    kc11 = models.FloatField("kc1.1", help_text="N/mm²")
    kc11_source = models.CharField(max_length=120, default="assumed")
    mc = models.FloatField()
    mc_source = models.CharField(max_length=120, default="assumed")
    taylor_n = models.FloatField(null=True, blank=True)
    taylor_n_source = models.CharField(max_length=120, default="assumed")
    speed_low = models.FloatField(null=True, blank=True, help_text="m/min")
    speed_high = models.FloatField(null=True, blank=True, help_text="m/min")
    speed_source = models.CharField(max_length=120, default="assumed")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(kc11__gt=0), name="material_kc11_positive"),
            models.CheckConstraint(condition=Q(mc__gte=0) & Q(mc__lt=1), name="material_mc_from_0_to_1"),
        ]

    def __str__(self) -> str:
        return self.name


class Machine(Retirable):
    """A machine tool with its spindle nose, pockets and limits."""

    class Feed(models.TextChoices):
        NONE = "none", "None"
        FILE = "file", "File"
        MTCONNECT = "mtconnect", "MTConnect"

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    name = models.CharField(max_length=80)
    nose_system = models.CharField(max_length=30, blank=True, help_text="coupling of the spindle nose or turret")
    nose_size = models.CharField(max_length=20, blank=True)
    pockets = models.PositiveSmallIntegerField(default=0)
    max_spindle_speed = models.FloatField(null=True, blank=True, help_text="1/min")
    max_feed_rate = models.FloatField(null=True, blank=True, help_text="mm/min")
    max_power_kw = models.FloatField(null=True, blank=True)
    power_curve = models.JSONField(
        default=list, blank=True, help_text="the spindle's power at its speeds: [[1/min, kW], …], rising in speed"
    )
    efficiency = models.FloatField(default=0.8)
    stop_minutes = models.FloatField(
        default=1.0, db_default=1.0, help_text="minutes that a stop costs before anything is changed, and after"
    )
    hourly_rate = models.DecimalField(max_digits=10, decimal_places=2, default=Decimal("0"))
    feed = models.CharField(max_length=10, choices=Feed.choices, default=Feed.NONE)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(efficiency__gt=0) & Q(efficiency__lte=1), name="machine_efficiency_share"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class MachineShift(models.Model):
    """One stretch of a week in which a machine is manned; a shift past midnight ends on the next day."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(help_text="Monday is 0")
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["machine", "weekday", "starts"]
        constraints = [
            models.UniqueConstraint(fields=["machine", "weekday", "starts"], name="one_shift_per_start"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="shift_weekday_0_to_6"),
        ]

    def __str__(self) -> str:
        return f"{self.machine} {self.weekday} {self.starts:%H:%M}-{self.ends:%H:%M}"


class Supplier(Retirable):
    name = models.CharField(max_length=80, unique=True)
    email = models.EmailField(blank=True)
    free_freight_from = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Offer(Retirable):
    """What a supplier asks for a design: pack, minimum, stated lead time, and what receipts have shown of it."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    suppliers_number = models.CharField(max_length=60, blank=True)
    pack = models.PositiveIntegerField(default=1)
    minimum = models.PositiveIntegerField(default=1)
    lead_days = models.FloatField(help_text="stated lead time in days")
    lead_days_sd = models.FloatField(default=0, help_text="stated or assumed spread in days")
    receipts_seen = models.PositiveIntegerField(default=0)
    observed_lead_days = models.FloatField(null=True, blank=True)
    observed_lead_days_sd = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["design", "supplier"]
        constraints = [
            models.UniqueConstraint(fields=["design", "supplier"], name="one_offer_per_design_and_supplier"),
            models.CheckConstraint(
                condition=Q(pack__gte=1) & Q(minimum__gte=1), name="offer_pack_and_minimum_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(lead_days__gte=0) & Q(lead_days_sd__gte=0), name="offer_lead_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.design} from {self.supplier}"


class PriceBreak(models.Model):
    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="prices")
    from_quantity = models.PositiveIntegerField(default=1)
    unit_price = models.DecimalField(max_digits=12, decimal_places=2)

    class Meta:
        ordering = ["offer", "from_quantity"]
        constraints = [models.UniqueConstraint(fields=["offer", "from_quantity"], name="one_price_per_quantity")]

    def __str__(self) -> str:
        return f"{self.unit_price} from {self.from_quantity}"


class Job(Retirable):
    """A batch of one part that the shop makes. It stands this low because moves and reservations name it."""

    class State(models.TextChoices):
        PLANNED = "planned", "Planned"
        RUNNING = "running", "Running"
        DONE = "done", "Done"

    code = models.CharField(max_length=40, unique=True, validators=[CODE])
    part = models.CharField(max_length=120)
    quantity = models.PositiveIntegerField(default=1)
    made = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=8, choices=State.choices, default=State.PLANNED)
    due = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["code"]
        indexes = [models.Index(F("state"), F("due"), name="job_state_due")]

    def __str__(self) -> str:
        return self.code
