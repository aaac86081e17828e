"""The pump file read: what the shop states of one pump, turned into `wearvision.rules.pump.Pump`.

A gauged length names its gauge from the gauges file, which gives its uncertainty; the gauge must have been in
date when it was read. A mistake is reported with file and line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from wearvision.app.files import read_text
from wearvision.app.inspection import read_gauges
from wearvision.app.pump_file import KEYS, Duty, Impeller, PumpFile, Reading, Ring, RingReading
from wearvision.errors import BadInput, WearvisionError
from wearvision.rules import pump
from wearvision.rules.gauged import Gauged
from wearvision.rules.reading import GaugeReading, Instrument
from wearvision.toml_lines import fault, line_of, load_toml


def read_pump(path: Path) -> pump.Pump:
    """Read a pump file.

    Raises
    ------
    BadInput
        With `file:line` of the first mistake.
    """
    text = read_text(path, "the pump file", do="save it as UTF-8")
    data = load_toml(text, path.name)
    try:
        found = PumpFile.model_validate(data)
    except ValidationError as error:
        raise fault(text, path.name, error.errors(), KEYS) from None
    known = read_gauges(path.parent / found.gauges) if found.gauges else {}
    return _Bench(text=text, name=path.name, gauges=known, file=found).whole()


@dataclass(frozen=True, kw_only=True)
class _Bench:
    """Turns a checked file into records; knows where each reading stands."""

    text: str
    name: str
    gauges: Mapping[str, Instrument]
    file: PumpFile

    def whole(self) -> pump.Pump:
        """The whole pump."""
        file = self.file
        return pump.Pump(
            tag=file.tag, name=file.name, read_by=file.read_by, read_at=file.read_at,
            parts=pump.Parts(**file.parts.model_dump()), axial=self._axial(),
            rings=tuple(self._ring(n, ring) for n, ring in enumerate(file.rings)),
            thermal=None if file.thermal is None else pump.Thermal(**file.thermal.model_dump()),
            duty=_duty(file.duty), impeller=_impeller(file.impeller), back_vanes=self._back_vanes(),
            bearing=None if file.bearing is None else pump.Bearing(**file.bearing.model_dump()),
            guard_factor=file.guard_factor,
        )  # fmt: skip

    def _axial(self) -> pump.AxialFacts | None:
        a = self.file.axial
        if a is None:
            return None
        low, high = (total - a.front_target_axial for total in a.total_range_axial)
        back = a.back_range_axial or (low, high)
        return pump.AxialFacts(
            front_gap_axial=self._gauged(a.front_gap_axial, "axial", "front_gap_axial"),
            back_gap_axial=self._gauged(a.back_gap_axial, "axial", "back_gap_axial"),
            total_gap_axial=self._gauged(a.total_gap_axial, "axial", "total_gap_axial"),
            adjuster_left_axial_mm=a.adjuster_left_axial, front_new_axial_mm=a.front_new_axial,
            back_new_axial_mm=a.back_new_axial, front_target_axial_mm=a.front_target_axial,
            front_low_axial_mm=a.front_range_axial[0], front_high_axial_mm=a.front_range_axial[1],
            total_low_axial_mm=a.total_range_axial[0], total_high_axial_mm=a.total_range_axial[1],
            back_low_axial_mm=back[0], back_high_axial_mm=back[1], front_up_to_c=a.front_up_to,
            casing_worn_share=a.casing_worn_share, impeller_worn_share=a.impeller_worn_share,
            cover_worn_share=a.cover_worn_share, running_side=a.running_side,
        )  # fmt: skip

    def _ring(self, n: int, ring: Ring) -> pump.RingPair:
        return pump.RingPair(
            name=ring.name, part=ring.part, bore=self._diameters(ring.inside, "rings", n, "inside"),
            ring=self._diameters(ring.outside, "rings", n, "outside"),
            design_clearance_diametral_mm=ring.design_clearance_diametral, design_checked=ring.design_checked,
            land_length_axial_mm=ring.land_length_axial, galling=ring.galling, service=ring.service,
            renew_factor=ring.renew_factor, edition=ring.edition, bore_material=ring.inside_material,
            ring_material=ring.outside_material,
        )  # fmt: skip

    def _diameters(self, found: tuple[RingReading, ...], *path: str | int) -> tuple[pump.Diameter, ...]:
        out = []
        for n, r in enumerate(found):
            gauged = self._gauged(r, *path, n)
            assert gauged is not None
            out.append(pump.Diameter(place=r.place, angle_deg=r.angle, gauged=gauged))
        return tuple(out)

    def _back_vanes(self) -> pump.BackVanes | None:
        vanes = self.file.back_vanes
        if vanes is None:
            return None
        plain = vanes.model_dump(exclude={"height_loss_axial"})
        loss = self._gauged(vanes.height_loss_axial, "back_vanes", "height_loss_axial")
        return pump.BackVanes(height_loss_axial=loss, **plain)

    def _gauged(self, found: Reading | None, *path: str | int) -> Gauged | None:
        """A reading with the uncertainty of its gauge; refused when the gauge is unknown or out of date."""
        if found is None:
            return None
        try:
            reading = self._reading(found)
        except WearvisionError as error:
            where = f"{self.name}:{line_of(self.text, path)}: {'.'.join(map(str, path))}"
            raise BadInput(f"{where}: {error.what}", got=error.got, do=error.do) from None
        how = f"{reading.length.understood} by {reading.instrument.serial}"
        return Gauged(value_mm=reading.value_mm, u_mm=reading.u_mm, how=how)

    def _reading(self, found: Reading) -> GaugeReading:
        if not (self.file.gauges and self.file.read_by and self.file.read_at):
            raise BadInput("a reading needs gauges, a reader and a time",
                           do='give gauges = "FILE.toml", read_by and read_at at the top of the file')  # fmt: skip
        gauge = self.gauges.get(found.gauge)
        if gauge is None:
            raise BadInput("no such gauge in the gauges file", got=found.gauge, do=f"known: {', '.join(self.gauges)}")
        if gauge.overdue(self.file.read_at):
            raise BadInput("the gauge was out of calibration, or its date is not known", got=found.gauge,
                           do="read again with one in date")  # fmt: skip
        return GaugeReading(
            point=1, typed=found.reading, instrument=gauge, reader=self.file.read_by, at=self.file.read_at
        )


def _duty(found: Duty | None) -> pump.Duty | None:
    if found is None:
        return None
    price, currency = found.tariff or (None, "")
    return pump.Duty(tariff_per_kwh=price, currency=currency, **found.model_dump(exclude={"tariff"}))


def _impeller(found: Impeller | None) -> pump.Impeller | None:
    if found is None:
        return None
    lost = None if found.lost_mass is None else found.lost_mass * 1000
    return pump.Impeller(lost_mass_g=lost, **found.model_dump(exclude={"lost_mass"}))
