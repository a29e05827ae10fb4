"""The forms of the catalogue pages. They read and check what was typed; the services write."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django import forms

from crib.catalogue.models import Design, Machine, Supplier, WorkMaterial
from crib.catalogue.reading import read_curve, read_prices, read_shifts
from crib.catalogue.services import ShiftTimes
from crib.core.errors import BadInput
from crib.web.fields import QuantityField, UnitsForm, same_quantity
from crib.web.scan_field import Scan


class Entry(UnitsForm):
    """One entry of the catalogue; `fixed` fields stay as they are once it exists."""

    fixed: tuple[str, ...] = ()

    def __init__(self, *args: Any, system: str, thing: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, system=system, **kwargs)
        self.thing = thing
        if thing is not None:
            for name in self.fixed:
                self.fields[name].disabled = True

    def changes(self) -> dict[str, Any]:
        """What differs from the entry as it is; being shown in inches and read back is no change."""
        given = {name: value for name, value in self.cleaned_data.items() if name not in self.fixed}
        return {
            name: value for name, value in given.items() if not same_quantity(getattr(self.thing, name, None), value)
        }


def _quantity(unit: str, label: str, symbol: str = "", **kwargs: Any) -> QuantityField:
    return QuantityField(unit=unit, label=f"{label} {symbol}".strip(), required=False, **kwargs)


class DesignForm(Entry):
    fixed = ("code", "kind")
    code = forms.CharField(max_length=40, help_text="Capital letters, digits and . _ / -")
    kind = forms.ChoiceField(choices=Design.Kind.choices)
    description = forms.CharField(max_length=200)
    family = forms.CharField(max_length=60, required=False, help_text="Designs that wear alike share one.")
    makers_number = forms.CharField(max_length=60, required=False, label="Maker’s number")
    unit_cost = forms.DecimalField(max_digits=12, decimal_places=2, min_value=Decimal(0), initial=0)
    pack_size = forms.IntegerField(min_value=1, initial=1)
    returnable = forms.BooleanField(required=False, label="Comes back to the crib")
    return_days = forms.IntegerField(
        required=False, min_value=1, label="Overdue after days", help_text="Empty: after the house’s own days."
    )
    edges = forms.IntegerField(
        min_value=0, initial=0, help_text="Corners or bands of one tip; 0 for what does not cut."
    )
    seats = forms.IntegerField(min_value=0, initial=0, help_text="Tips that a body takes.")
    regrinds_allowed = forms.IntegerField(min_value=0, initial=0)
    regrind_cost = forms.DecimalField(max_digits=12, decimal_places=2, min_value=Decimal(0), initial=0)
    carbide_mass_g = forms.FloatField(required=False, min_value=0, label="Carbide, in g")
    diameter_mm = _quantity("mm", "Cutting diameter", "DC")
    tip_flat_mm = _quantity("mm", "Tip-flat diameter")
    teeth = forms.IntegerField(required=False, min_value=1, label="Teeth ZEFP")
    included_angle_deg = forms.FloatField(required=False, label="Included angle, in degrees")
    lead_angle_deg = forms.FloatField(required=False, label="Cutting edge angle KAPR, in degrees")
    point_angle_deg = forms.FloatField(required=False, label="Point angle SIG, in degrees")
    corner_radius_mm = _quantity("mm", "Corner radius", "RE")
    max_depth_mm = _quantity("mm", "Largest depth of cut", "APMX")
    pitch_mm = _quantity("mm", "Thread pitch", "TP")
    shank_mm = _quantity("mm", "Shank diameter", "DMM")
    length_mm = _quantity("mm", "Functional length", "LF")
    max_spindle_speed = _quantity("1/min", "Largest speed", "RPMX", help_text="The tool maker’s limit comes first.")
    hone_mm = _quantity("mm", "Hone of the edge", help_text="A chip thinner than the hone rubs instead of cutting.")
    max_chip_mm = _quantity("mm", "Thickest chip", help_text="The tool maker’s limit.")
    clamp_torque_nm = _quantity(
        "N·m", "Tightening torque", help_text="By its maker, of the screw or nut that clamps in it."
    )
    balance_note = forms.CharField(
        max_length=80,
        required=False,
        label="Balance",
        help_text="As its maker states it, such as G 2.5 at 12 000 1/min.",
    )
    machine_side_system = forms.CharField(max_length=30, required=False, label="Coupling towards the machine")
    machine_side_size = forms.CharField(max_length=20, required=False, label="Its size")
    work_side_system = forms.CharField(max_length=30, required=False, label="Coupling towards the work")
    work_side_size = forms.CharField(max_length=20, required=False, label="Its size, or a range such as 3-16")


class MaterialForm(Entry):
    fixed = ("name",)
    name = forms.CharField(max_length=80)
    iso_group = forms.ChoiceField(choices=WorkMaterial.Group.choices, label="ISO 513 group")
    hardness = forms.CharField(max_length=40, required=False, help_text="With its scale, such as 230-290 HB.")
    kc11 = forms.FloatField(min_value=0, label="kc1.1, in N/mm²")
    kc11_source = forms.CharField(max_length=120, initial="assumed", label="Source of kc1.1")
    mc = forms.FloatField(min_value=0, max_value=1, label="Exponent mc")
    mc_source = forms.CharField(max_length=120, initial="assumed", label="Source of mc")
    taylor_n = forms.FloatField(required=False, label="Taylor’s exponent n")
    taylor_n_source = forms.CharField(max_length=120, initial="assumed", label="Source of n")
    speed_low = _quantity("m/min", "Surface speed from")
    speed_high = _quantity("m/min", "Surface speed to")
    speed_source = forms.CharField(max_length=120, initial="assumed", label="Source of the speeds")


class MachineForm(Entry):
    fixed = ("code",)
    code = forms.CharField(max_length=40)
    name = forms.CharField(max_length=80)
    nose_system = forms.CharField(max_length=30, required=False, label="Spindle nose or turret, system")
    nose_size = forms.CharField(max_length=20, required=False, label="Its size")
    pockets = forms.IntegerField(min_value=0, max_value=1000, initial=0)
    max_spindle_speed = _quantity("1/min", "Largest spindle speed")
    max_feed_rate = _quantity("mm/min", "Largest feed rate")
    max_power_kw = _quantity("kW", "Largest power")
    power_curve = forms.CharField(
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 5}),
        label="Spindle power at its speeds",
        help_text="From the machine’s manual. One line each, speed; power, such as 1500; 15 kW or 1500; 20 hp. "
        "A bare power is in kW.",
    )
    efficiency = forms.FloatField(min_value=0, max_value=1, initial=0.8)
    hourly_rate = forms.DecimalField(max_digits=10, decimal_places=2, min_value=Decimal(0), initial=0)
    stop_minutes = QuantityField(
        unit="min",
        required=False,
        initial=1.0,
        label="What a stop costs",
        help_text="Before anything is changed and after: braking, opening, closing, warming up. Empty: 1 minute.",
    )
    feed = forms.ChoiceField(choices=Machine.Feed.choices, initial=Machine.Feed.NONE, label="Data from the machine")
    shifts = forms.CharField(
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="One line each, such as: Mon-Fri 06:00-14:00",
    )

    def clean_power_curve(self) -> list[list[float]]:
        curve: list[list[float]] = _read(read_curve, self.cleaned_data["power_curve"])
        return curve

    def clean_stop_minutes(self) -> float:
        given: float | None = self.cleaned_data["stop_minutes"]
        return 1.0 if given is None else given

    def clean_shifts(self) -> list[ShiftTimes]:
        return [ShiftTimes(*one) for one in _read(read_shifts, self.cleaned_data["shifts"])]


class SupplierForm(Entry):
    fixed = ("name",)

    name = forms.CharField(max_length=80)
    email = forms.EmailField(required=False, label="E-mail")
    free_freight_from = forms.DecimalField(required=False, max_digits=12, decimal_places=2, min_value=Decimal(0))


class OfferForm(Entry):
    fixed = ("design", "supplier")

    design = Scan(letters="D", words="a design")
    supplier = forms.ModelChoiceField(
        queryset=Supplier.objects.filter(retired_at__isnull=True).order_by("name"), empty_label="Choose a supplier"
    )
    suppliers_number = forms.CharField(max_length=60, required=False, label="Supplier’s number")
    pack = forms.IntegerField(min_value=1, initial=1)
    minimum = forms.IntegerField(min_value=1, initial=1, label="Smallest order")
    lead_days = forms.FloatField(min_value=0, label="Lead time, in days")
    lead_days_sd = forms.FloatField(min_value=0, initial=0, label="Its spread, in days")
    prices = forms.CharField(
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="One line each, such as 1: 24.50 and 50: 22.00",
    )

    def clean_prices(self) -> dict[int, Decimal]:
        prices: dict[int, Decimal] = _read(read_prices, self.cleaned_data["prices"])
        return prices


class ImportForm(forms.Form):
    file = forms.FileField(label="CSV file")
    only_check = forms.BooleanField(required=False, label="Only check, write nothing")


def _read(read: Callable[[str], Any], text: str) -> Any:
    try:
        return read(text)
    except BadInput as unread:
        raise forms.ValidationError(unread.sentence) from unread
