"""The motor of a leg in a lift file: by its constants, or by the figures of its catalogue."""

from __future__ import annotations

from math import lcm
from typing import Self

from pydantic import Field, model_validator

from scenarios.files.fields import Table, quantity

__all__ = ["MAX_COMMUTATIONS", "Catalogue", "Motor", "Thermal"]

MAX_COMMUTATIONS = 64


class Catalogue(Table):
    """Figures a data sheet prints; the constants are derived from them (scenarios/catalogue.py says how)."""

    rated_voltage_v: float = quantity(1, 100, "Voltage at which the figures hold.")
    no_load_speed_rpm: float = quantity(100, 30000, "Speed without load.")
    no_load_current_a: float = quantity(0.001, 20, "Current without load.")
    stall_current_a: float | None = quantity(0.05, 500, "Current with the shaft blocked.", None)
    stall_torque_mn_m: float | None = quantity(0.5, 50000, "Torque at the shaft with the shaft blocked.", None)
    torque_constant_mn_m_per_a: float | None = quantity(0.5, 1000, "Torque constant, if printed.", None)
    back_emf_constant_mv_s_per_rad: float | None = quantity(0.5, 1000, "Back-EMF constant, if printed.", None)

    @model_validator(mode="after")
    def _needs_a_stall_figure(self) -> Self:
        if self.stall_current_a is None and self.stall_torque_mn_m is None:
            raise ValueError("needs stall_current_a or stall_torque_mn_m")
        if self.stall_current_a is not None and self.no_load_current_a >= self.stall_current_a:
            raise ValueError(f"no_load_current_a = {self.no_load_current_a:g} must be below stall_current_a = {self.stall_current_a:g}")
        return self


class Motor(Table):
    """Brushed DC motor; everything at the motor shaft and at 20 C."""

    resistance_ohm: float | None = quantity(0.02, 100, "Terminal resistance of the winding, without the brush drop.", None)
    inductance_mh: float = quantity(0.01, 50, "Armature inductance.")
    torque_constant_mn_m_per_a: float | None = quantity(1, 1000, "Torque constant.", None)
    back_emf_constant_mv_s_per_rad: float | None = quantity(
        1, 1000, "Back-EMF constant, if it was measured too; must agree within 5 %.", None
    )
    brush_drop_v: float = quantity(0, 4, "Voltage drop of both brushes together at high current.", 0.8)
    brush_current_a: float = quantity(0.01, 5, "Current at which the brush drop bends to its constant value.", 0.2)
    rotor_inertia_g_cm2: float = quantity(0.5, 20000, "Inertia of the rotor (1 g cm2 = 1e-7 kg m2).")
    coulomb_drag_mn_m: float | None = quantity(0, 1000, "Constant drag of motor, gear and seals.", None)
    viscous_drag_mn_m_s: float | None = quantity(0, 10, "Drag of motor, gear and seals that grows with speed, per rad/s.", None)
    static_drag_ratio: float = quantity(1, 3, "Break-away over running constant drag.", 1.25)
    stribeck_speed_rpm: float = quantity(0, 3000, "Speed over which the drag falls from break-away to running; 0: at once.", 0.0)
    segments: int = Field(ge=3, le=64, description="Segments of the commutator.")
    poles: int = Field(default=2, ge=2, le=12, multiple_of=2, description="Magnet poles.")
    pitch_error: float = quantity(0, 0.2, "Unevenness of the segments, rms, as a share of one commutation pitch.", 0.01)
    pitch_offsets: tuple[float, ...] | None = Field(
        default=None, description="Offset of every commutation of a revolution, as a share of the pitch; replaces pitch_error."
    )
    ripple_emf: float | None = quantity(0, 0.3, "Back-EMF ripple, peak to peak over maximum; left out: from the segments.", None)
    ripple_resistance: float | None = quantity(0, 0.5, "Resistance ripple, peak to peak, relative; left out: 0.75 over the segments.", None)
    catalogue: Catalogue | None = Field(default=None, description="Catalogue figures, instead of resistance and torque constant.")

    @property
    def commutations(self) -> int:
        """Commutations per revolution, the least common multiple of segments and poles."""
        return lcm(self.segments, self.poles)

    @model_validator(mode="after")
    def _is_described_once(self) -> Self:
        constants = (self.resistance_ohm, self.torque_constant_mn_m_per_a)
        if self.catalogue is None:
            if None in constants:
                raise ValueError("needs resistance_ohm and torque_constant_mn_m_per_a, or a [catalogue] table")
            if None in (self.coulomb_drag_mn_m, self.viscous_drag_mn_m_s):
                raise ValueError("needs coulomb_drag_mn_m and viscous_drag_mn_m_s (only a [catalogue] table can replace them)")
        elif constants != (None, None):
            raise ValueError("give either resistance_ohm and torque_constant_mn_m_per_a, or a [catalogue] table, not both")
        return self

    @model_validator(mode="after")
    def _counts_fit(self) -> Self:
        if self.commutations > MAX_COMMUTATIONS:
            raise ValueError(
                f"segments = {self.segments} on poles = {self.poles} make {self.commutations} commutations per revolution; "
                f"at most {MAX_COMMUTATIONS} are supported"
            )
        offsets = self.pitch_offsets
        if offsets is not None and len(offsets) != self.commutations:
            raise ValueError(
                f"pitch_offsets has {len(offsets)} values, must have {self.commutations} (one per commutation of a revolution)"
            )
        if offsets is not None and max(abs(offset) for offset in offsets) > 0.4:
            raise ValueError("pitch_offsets must be -0.4 to 0.4 of a pitch")
        return self


class Thermal(Table):
    """Two-node thermal model of the motor, and what temperature does to its constants."""

    winding_capacity_j_per_k: float = quantity(1, 1000, "Heat capacity of the winding.", 40.0)
    case_capacity_j_per_k: float = quantity(10, 10000, "Heat capacity of the case.", 250.0)
    winding_to_case_k_per_w: float = quantity(0.05, 20, "Thermal resistance from winding to case.", 2.0)
    case_to_air_k_per_w: float = quantity(0.1, 50, "Thermal resistance from case to air.", 3.5)
    copper_coefficient_per_k: float = quantity(
        0, 0.01, "Relative change of resistance per kelvin of the winding.", 0.00393, "IEC 60028, annealed copper"
    )
    magnet_coefficient_per_k: float = quantity(
        -0.01, 0, "Relative change of the torque constant per kelvin of the case.", -0.002, "ferrite, common practice"
    )
