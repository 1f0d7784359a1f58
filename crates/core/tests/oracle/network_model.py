"""The fuel and air network of a float carburettor at steady state: elements, state, idle.

Three kinds of carburettor (constant-depression slide, plain slide, fixed venturi) feed an engine
described by its breathing, a torque curve over mixture and its friction.  Every element passes more
the harder it is driven, so each unknown is the only root of a bracketed scalar equation:

    engine speed (idle only)  >  manifold pressure  >  throttle air  >  slide lift;  two well pressures

Units are SI throughout; a name carries its unit (`pressure_pa`, `air_kg_s`, `plate_angle_rad`).
Constants that no measurement stands behind are said to be calibration numbers.  Nothing here was
compared with a carburettor on a bench: the script shows that two programs solve the same equations
alike, not that the equations are right.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass, replace
from typing import NamedTuple

from scipy.optimize import brentq, minimize_scalar

GAS_CONSTANT = 287.05  # J/(kg K), dry air
GRAVITY = 9.80665  # m/s2
GAMMA_AIR = 1.4
GAMMA_EMULSION = 1.2  # used behind the pilot screw only
SOUND_SPEED = 340.0  # m/s, in the pulsation law
REGULARISATION_PA = 2.0  # below about this drop a gas orifice turns linear


def root(function, low, high, scale):
    """Root of `function` in [low, high] to about the last digit a double holds."""
    return brentq(function, low, high, xtol=1e-15 * scale, rtol=8.881784197001252e-16, maxiter=300)


# ---------------------------------------------------------------------------------- elements


def smoothstep(z):
    """z^2 (3 - 2 z), held at 0 below 0 and at 1 above 1: continuous with its slope."""
    z = min(max(z, 0.0), 1.0)
    return z * z * (3 - 2 * z)


def round_area(bore_m):
    """Area of a round hole, pi d^2/4."""
    return math.pi / 4 * bore_m * bore_m


def circular_segment(height_m, bore_m):
    """Area of a round bore uncovered from below to `height_m`.

    A = r^2 acos((r - h)/r) - (r - h) sqrt(2 r h - h^2), r = d/2; h is held within 1e-9 m .. d.
    """
    r = bore_m / 2
    h = min(max(height_m, 1e-9), bore_m)
    return r * r * math.acos((r - h) / r) - (r - h) * math.sqrt(max(2 * r * h - h * h, 0.0))


def plate_area(plate_angle_rad, closed_angle_rad, bore_m, leak_m2):
    """Free area beside a throttle plate: pi d^2/4 (1 - cos a/cos a0) + leak.

    The plate is infinitely thin and its shaft takes no room, so the bore is quite free at 90 degrees.
    """
    share = max(1 - math.cos(plate_angle_rad) / math.cos(closed_angle_rad), 0.0)
    return math.pi / 4 * bore_m**2 * share + leak_m2


def screw_area(turns, seat_m, half_angle_rad, pitch_m):
    """Gap round a conical screw in a round hole, bounded by the hole itself.

    h = turns pitch; gap = pi h s (d - h s c) (frustum between cone and edge, s and c the sine and
    cosine of the half angle) up to h s c = d/2, constant beyond; A = gap full/(gap^4 + full^4)^(1/4)
    + 1e-12 m2, full = pi d^2/4.  The blend and the floor are numerical choices.
    """
    s, c = math.sin(half_angle_rad), math.cos(half_angle_rad)
    hs = max(turns, 0.0) * pitch_m * s
    gap = math.pi * hs * (seat_m - hs * c) if hs * c < seat_m / 2 else math.pi * seat_m**2 / (4 * c)
    full = math.pi / 4 * seat_m**2
    return gap * full / (gap**4 + full**4) ** 0.25 + 1e-12


def gas_head(upstream_pa, downstream_pa, gamma=GAMMA_AIR):
    """Driving head H of isentropic flow, defined by (m/A)^2 = 2 rho_up H; odd under exchange of ends.

    H = p_up g/(g-1) (r^(2/g) - r^((g+1)/g)), r = p_down/p_up held at or above the critical ratio
    (2/(g+1))^(g/(g-1)).  H tends to the plain pressure drop as r tends to 1; its slope is zero at choking.
    """
    if upstream_pa < downstream_pa:
        return -_head(downstream_pa, upstream_pa, gamma)
    return _head(upstream_pa, downstream_pa, gamma)


def _head(upstream_pa, downstream_pa, gamma):
    critical = (2 / (gamma + 1)) ** (gamma / (gamma - 1))
    r = max(downstream_pa / upstream_pa, critical)
    return upstream_pa * (gamma / (gamma - 1) * (r ** (2 / gamma) - r ** ((gamma + 1) / gamma)))


def gas_orifice(effective_area_m2, upstream_pa, downstream_pa, temperature_k):
    """Mass flow through a gas orifice, negative when the downstream pressure is the higher.

    m = Cd A sqrt(2 rho_up) H/(H^2 + delta^2)^(1/4), delta = 2 Pa: the square root of H without
    its infinite slope at rest.  The higher pressure sets the density; one temperature on both sides.
    """
    if downstream_pa > upstream_pa:
        return -gas_orifice(effective_area_m2, downstream_pa, upstream_pa, temperature_k)
    head = gas_head(upstream_pa, downstream_pa)
    density = upstream_pa / (GAS_CONSTANT * temperature_k)
    regular = (head * head + REGULARISATION_PA * REGULARISATION_PA) ** 0.25
    return effective_area_m2 * math.sqrt(2 * density) * head / regular


def liquid_jet(drop_pa, bore_m, length_m, discharge, density_kg_m3, viscosity_pa_s):
    """Mass flow of fuel through a jet: laminar and inertial loss in series, dp = a m + b m^2.

    a = 32 mu L/(rho A d^2), b = 1/(2 rho (Cd A)^2).  No flow backwards.
    """
    if drop_pa <= 0:
        return 0.0
    area = math.pi / 4 * bore_m * bore_m
    a = 32 * viscosity_pa_s * length_m / (density_kg_m3 * area * bore_m * bore_m)
    b = 1 / (2 * density_kg_m3 * (discharge * area) ** 2)
    return (-a + math.sqrt(a * a + 4 * b * drop_pa)) / (2 * b)


def two_phase_drop(liquid_kg_s, gas_kg_s, effective_area_m2, liquid_kg_m3, gas_kg_m3, interaction):
    """Pressure drop of liquid and gas leaving through one opening.

    dp = (ml^2/rho_l + mg^2/rho_g + C ml mg/sqrt(rho_l rho_g))/(2 (Cd A)^2).  C = 2: both share the
    area without touching; C = sqrt(rho_l/rho_g) + sqrt(rho_g/rho_l): a homogeneous mixture.
    Between these C is a calibration number.
    """
    mixed = interaction * liquid_kg_s * gas_kg_s / math.sqrt(liquid_kg_m3 * gas_kg_m3)
    alone = liquid_kg_s * liquid_kg_s / liquid_kg_m3 + gas_kg_s * gas_kg_s / gas_kg_m3
    return (alone + mixed) / (2 * effective_area_m2 * effective_area_m2)


def homogeneous_interaction(liquid_kg_m3, gas_kg_m3):
    """The C with which `two_phase_drop` is that of a homogeneous mixture."""
    return math.sqrt(liquid_kg_m3 / gas_kg_m3) + math.sqrt(gas_kg_m3 / liquid_kg_m3)


def pulsation(pulsation_open, effective_area_m2, displacement_m3, rpm):
    """Mean depression of the pulsing air over that of the same air flowing steadily.

    kappa = 1 + (kappa0 - 1) smoothstep((q - 0.25)/1.4), q = Ct At 340/(Vd N/120): the throttle's
    area at the speed of sound against the volume the cylinders of this carburettor ask for.  The
    manifold pressure does not enter, so one value holds for an opening and a speed.  kappa0 and
    the two numbers are calibration.
    """
    q = effective_area_m2 * SOUND_SPEED / (displacement_m3 * rpm / 120)
    return 1 + (pulsation_open - 1) * smoothstep((q - 0.25) / 1.4)


# ------------------------------------------------------------------------- what the network is made of


@dataclass(frozen=True)
class Fuel:
    """Petrol with ethanol: 745 and 794 kg/m3 at 288 K, -0.11 %/K; 14.7 and 9.0 by mass; log-linear viscosity."""

    ethanol_volume_fraction: float = 0.0
    temperature_k: float = 298.0

    @property
    def density_kg_m3(self):
        e = self.ethanol_volume_fraction
        return (745 * (1 - e) + 794 * e) * (1 - 0.00110 * (self.temperature_k - 288))

    @property
    def viscosity_pa_s(self):
        warmer_k = self.temperature_k - 293
        petrol = 0.55e-3 * math.exp(-0.0100 * warmer_k)
        ethanol = 1.20e-3 * math.exp(-0.0175 * warmer_k)
        e = self.ethanol_volume_fraction
        return math.exp((1 - e) * math.log(petrol) + e * math.log(ethanol))

    @property
    def stoichiometric_ratio(self):
        petrol, ethanol = 745 * (1 - self.ethanol_volume_fraction), 794 * self.ethanol_volume_fraction
        return (14.7 * petrol + 9.0 * ethanol) / (petrol + ethanol)


@dataclass(frozen=True)
class Air:
    """The surroundings.  Flow reckons with dry air's gas constant; moisture only thins what burns."""

    pressure_pa: float = 101325.0
    temperature_k: float = 298.15
    relative_humidity: float = 0.0

    @property
    def dry_mass_fraction(self):
        """1/(1 + 0.622 pv/(p - pv)), saturation by a Magnus formula over water."""
        celsius = self.temperature_k - 273.15
        vapour_pa = self.relative_humidity * 610.94 * math.exp(17.625 * celsius / (celsius + 243.04))
        return 1 / (1 + 0.622 * vapour_pa / (self.pressure_pa - vapour_pa))


def standard_air(altitude_m, warmer_k=10.0):
    """Standard atmosphere of the troposphere, `warmer_k` above its temperature."""
    pressure_pa = 101325 * (1 - 2.25577e-5 * altitude_m) ** 5.25588
    return Air(pressure_pa, 288.15 - 0.0065 * altitude_m + warmer_k)


@dataclass(frozen=True)
class Carburettor:
    """Every size of a carburettor.  The values given are an invented 40 mm constant-depression one."""

    kind: str = "constant_depression"  # constant_depression | slide | fixed_venturi
    # air
    bore_m: float = 40e-3
    throat_m: float = 34e-3  # round throat of equal area at the slide, or the venturi
    stroke_m: float = 26.5e-3
    recess_m: float = 7.0e-3  # segment height left open under the resting slide
    slide_discharge: float = 0.86
    throttle_discharge: float = 0.80
    recovery: float | None = None  # None: sudden enlargement, 2 b (1 - b)
    cutaway_m: float = 3.5e-3  # plain slide
    cutaway_share: float = 0.8  # plain slide: part of the cutaway felt at the needle jet
    slide_idle_m: float = 1.6e-3  # plain slide
    diaphragm_m2: float = 1.9e-3
    slide_kg: float = 0.045
    spring_n: float = 2.2
    spring_n_m: float = 60.0
    diaphragm_leak_m2: float = 0.0
    vacuum_port_m2: float = 2 * math.pi / 4 * (2.0e-3) ** 2
    plate_closed_rad: float = math.radians(8.0)
    plate_idle_rad: float = math.radians(11.6)
    plate_leak_m2: float = 1.0e-6
    pulsation_open: float = 2.0
    filter_pa_s2_kg2: float = 1.5e5  # air cleaner, loss = K m^2
    bowl_vented_to_airbox: bool = True
    leak_m2: float = 0.0  # air entering the manifold
    # main circuit
    main_jet_m: float = 1.90e-3
    main_jet_length_m: float = 4e-3
    main_jet_discharge: float = 0.80
    main_air_jet_m: float = 0.90e-3
    air_jet_discharge: float = 0.75
    needle_jet_m: float = 3.00e-3
    annulus_discharge: float = 0.75
    needle_m: tuple = ((-5e-3, 2.912e-3), (3.9e-3, 2.912e-3), (12.9e-3, 2.655e-3), (20.3e-3, 2.280e-3), (34e-3, 1.15e-3))
    clip_m: float = 0.0  # plus lifts the needle
    main_head_m: float = 16e-3  # fuel level below the mouth
    main_interaction: float = 4.0
    # pilot circuit
    pilot_jet_m: float = 0.46e-3
    pilot_jet_length_m: float = 1.5e-3
    pilot_jet_discharge: float = 0.78
    pilot_air_jet_m: float = 0.80e-3
    pilot_head_m: float = 18e-3
    pilot_interaction: float = 12.0
    turns: float = 2.5
    screw_seat_m: float = 1.20e-3
    screw_half_angle_rad: float = math.radians(6.3)
    screw_pitch_m: float = 0.75e-3
    screw_discharge: float = 0.75
    air_screw: bool = False
    ports_m: tuple = ((1.5e-3, 0.5e-3), (2.5e-3, 0.55e-3), (3.6e-3, 0.7e-3))  # (upstream of the closed edge, bore)


CONSTANT_DEPRESSION = Carburettor()

SLIDE = Carburettor(
    kind="slide", throat_m=36e-3, ports_m=((0.6e-3, 0.5e-3),), needle_jet_m=2.70e-3, main_jet_m=2.02e-3,
    main_air_jet_m=0.8e-3, main_head_m=25e-3, pilot_head_m=25e-3, pilot_jet_m=0.38e-3, pilot_air_jet_m=1.0e-3,
    slide_idle_m=1.45e-3, cutaway_m=4e-3, cutaway_share=0.8, turns=1.5,
    needle_m=((-5e-3, 2.64e-3), (1.8e-3, 2.64e-3), (3.6e-3, 2.595e-3), (5.8e-3, 2.543e-3), (10.1e-3, 2.435e-3),
              (14.4e-3, 2.287e-3), (18.7e-3, 2.084e-3), (27.4e-3, 1.40e-3), (40e-3, 1.1e-3)))  # fmt: skip

FIXED_VENTURI = Carburettor(
    kind="fixed_venturi", throat_m=28e-3, recovery=0.80, needle_m=((0.0, 0.0), (1.0, 0.0)), needle_jet_m=3.5e-3,
    main_jet_m=1.44e-3, main_air_jet_m=0.7e-3, main_interaction=6.0, pulsation_open=1.6, main_head_m=8e-3,
    pilot_jet_m=0.46e-3, pilot_air_jet_m=0.9e-3, turns=2.0, ports_m=((1.5e-3, 0.4e-3), (2.5e-3, 0.4e-3)))  # fmt: skip


@dataclass(frozen=True)
class Engine:
    """A four-stroke's breathing, torque over mixture and friction.  The values are an invented 1200 cm3 twin."""

    displacement_m3: float = 1.2e-3
    compression_ratio: float = 9.0
    charge_k: float = 318.0
    filling_peak: float = 0.82
    filling_peak_rpm: float = 3600.0
    filling_droop: float = 0.20
    efficiency: float = 0.30
    best_richness: float = 1.12
    lean_curvature: float = 2.2
    rich_curvature: float = 0.70
    idle_efficiency: float = 0.64

    def demand_kg_s(self, manifold_pa, rpm, exhaust_pa):
        """Air drawn: filling times the room left by the expanded residual (polytropic exponent 1.3)."""
        filling = self.filling_peak * (1 - self.filling_droop * ((rpm - self.filling_peak_rpm) / self.filling_peak_rpm) ** 2)
        room = (self.compression_ratio - (exhaust_pa / manifold_pa) ** (1 / 1.3)) / (self.compression_ratio - 1)
        swept = self.displacement_m3 * rpm / 120
        return max(filling * room, 0.0) * swept * manifold_pa / (GAS_CONSTANT * self.charge_k)

    def residual_fraction(self, manifold_pa, exhaust_pa):
        """Burnt gas kept from the last cycle, ideal: (1/rc) (p_e/p_m)^(1/1.3)."""
        return 1 / self.compression_ratio * (exhaust_pa / manifold_pa) ** (1 / 1.3)

    def mixture_torque(self, richness):
        """Torque at constant air over its best: a parabola on each side of the best equivalence ratio."""
        off = richness - self.best_richness
        return 1 - (self.lean_curvature if off < 0 else self.rich_curvature) * off * off

    def burn_fraction(self, richness, residual):
        """Share of cycles that burn; both limits close in as residual gas grows.  Calibration numbers."""
        crowding = max(residual - 0.10, 0.0)
        lean = 1 / (1 + math.exp(-(richness - (0.57 + 1.30 * crowding)) / 0.028))
        rich = 1 / (1 + math.exp(-((1.75 - 0.8 * crowding) - richness) / 0.05))
        return lean * rich

    def friction_pa(self, rpm):
        """Friction mean pressure, 0.85 (0.97 + 0.15 n + 0.05 n^2) bar, n in 1000 rpm: motored car engines, scaled."""
        k = rpm / 1000
        return 0.85e5 * (0.97 + 0.15 * k + 0.05 * k * k)

    def indicated_pa(self, air_kg_s, rpm, richness, manifold_pa, exhaust_pa):
        """Indicated mean pressure from the air of a cycle; 44 MJ/kg at 14.7 by mass whatever the fuel."""
        air_kg_m3 = air_kg_s * 120 / rpm / self.displacement_m3
        light = self.idle_efficiency + (1 - self.idle_efficiency) * smoothstep((manifold_pa / exhaust_pa - 0.30) / 0.5)
        burnt = self.burn_fraction(richness, self.residual_fraction(manifold_pa, exhaust_pa))
        return self.efficiency * 44e6 / 14.7 * 1.03 * air_kg_m3 * max(self.mixture_torque(richness), 0) * burnt * light


# ---------------------------------------------------------------------------------- the network


def needle_annulus(carburettor, lift_m):
    """Area between needle jet and needle; the needle is straight between its given diameters."""
    stations, diameters = zip(*carburettor.needle_m)
    y = lift_m + carburettor.clip_m
    if y <= stations[0]:
        diameter_m = diameters[0]
    elif y >= stations[-1]:
        diameter_m = diameters[-1]
    else:
        i = bisect_right(stations, y) - 1
        slope = (diameters[i + 1] - diameters[i]) / (stations[i + 1] - stations[i])
        diameter_m = slope * (y - stations[i]) + diameters[i]
    return max(math.pi / 4 * (carburettor.needle_jet_m**2 - diameter_m * diameter_m), 1e-9)


def plate_angle(carburettor, opening):
    """The plate turns from its stop to 90 degrees in proportion to the opening 0..1."""
    return carburettor.plate_idle_rad + opening * (math.pi / 2 - carburettor.plate_idle_rad)


def slide_height(carburettor, opening):
    """A plain slide rises from its stop to the full throat in proportion to the opening."""
    return carburettor.slide_idle_m + opening * (carburettor.throat_m - carburettor.slide_idle_m)


def throttle_area(carburettor, opening):
    """What throttles: the plate with its leak, or the plain slide's own segment."""
    if carburettor.kind == "slide":
        return circular_segment(slide_height(carburettor, opening), carburettor.throat_m)
    angle = plate_angle(carburettor, opening)
    return plate_area(angle, carburettor.plate_closed_rad, carburettor.bore_m, carburettor.plate_leak_m2)


def throat_drop(carburettor, air_kg_s, slide_m2, airbox_pa, airbox_kg_m3, kappa):
    """Mean depression under the slide, kappa m^2/(2 rho (Cv As)^2); incompressible, bounded at 0.45 of the air box."""
    steady = kappa * air_kg_s * air_kg_s / (2 * airbox_kg_m3 * (carburettor.slide_discharge * slide_m2) ** 2)
    return min(steady, 0.45 * airbox_pa)


def floating_lift(carburettor, air_kg_s, airbox_pa, airbox_kg_m3, kappa):
    """Lift at which depression times diaphragm carries slide and spring; held at both stops.

    A torn diaphragm divides the depression by 1 + (tear/port)^2.  The depression falls and the load
    rises with lift, hence one root.
    """
    share = 1 / (1 + (carburettor.diaphragm_leak_m2 / carburettor.vacuum_port_m2) ** 2)

    def surplus_n(lift_m):
        slide_m2 = circular_segment(carburettor.recess_m + lift_m, carburettor.throat_m)
        drop_pa = throat_drop(carburettor, air_kg_s, slide_m2, airbox_pa, airbox_kg_m3, kappa)
        load_n = carburettor.slide_kg * GRAVITY + carburettor.spring_n + carburettor.spring_n_m * lift_m
        return drop_pa * share * carburettor.diaphragm_m2 - load_n

    if surplus_n(0.0) <= 0:
        return 0.0
    if surplus_n(carburettor.stroke_m) >= 0:
        return carburettor.stroke_m
    return root(surplus_n, 0.0, carburettor.stroke_m, carburettor.stroke_m)


class AirPath(NamedTuple):
    airbox_pa: float
    throat_pa: float
    behind_slide_pa: float
    lift_m: float


def air_path(carburettor, opening, air_kg_s, air, kappa):
    """Pressures from the air cleaner to the throttle when `air_kg_s` passes.

    Air cleaner K m^2 (whatever the density); slide or venturi; then recovery of the share r of the
    steady depression, r = 2 b (1 - b) with b the slide's area over the bore's, or as given.  A plain
    slide is itself the throttle: nothing is lost before it.
    """
    c = carburettor
    airbox_pa = air.pressure_pa - c.filter_pa_s2_kg2 * air_kg_s * air_kg_s
    airbox_kg_m3 = airbox_pa / (GAS_CONSTANT * air.temperature_k)
    if c.kind == "constant_depression":
        lift_m = floating_lift(c, air_kg_s, airbox_pa, airbox_kg_m3, kappa)
        slide_m2 = circular_segment(c.recess_m + lift_m, c.throat_m)
    elif c.kind == "slide":
        lift_m = slide_height(c, opening)
        slide_m2 = circular_segment(lift_m + c.cutaway_share * c.cutaway_m, c.throat_m)
    else:
        lift_m = c.stroke_m
        slide_m2 = math.pi / 4 * c.throat_m**2
    drop_pa = throat_drop(c, air_kg_s, slide_m2, airbox_pa, airbox_kg_m3, kappa)
    if c.kind == "slide":
        behind_slide_pa = airbox_pa
    else:
        b = slide_m2 / (math.pi / 4 * c.bore_m**2)
        recovered = 2 * b * (1 - b) if c.recovery is None else c.recovery
        behind_slide_pa = airbox_pa - (1 - recovered) * drop_pa / kappa
    return AirPath(airbox_pa, airbox_pa - drop_pa, behind_slide_pa, lift_m)


def throttle_air(carburettor, opening, manifold_pa, air, kappa):
    """Air through the throttle and the path it leaves behind: flow(p_b(m), p_m) = m, falling in m."""
    effective_m2 = carburettor.throttle_discharge * throttle_area(carburettor, opening)

    def surplus_kg_s(air_kg_s):
        path = air_path(carburettor, opening, air_kg_s, air, kappa)
        return gas_orifice(effective_m2, path.behind_slide_pa, manifold_pa, air.temperature_k) - air_kg_s

    # Most that could ever pass: the same throttle straight from the surroundings, a little above.
    most = gas_orifice(effective_m2, air.pressure_pa, manifold_pa, air.temperature_k) + 1e-6
    air_kg_s = root(surplus_kg_s, 0.0, max(most, 1e-5), most) if surplus_kg_s(0.0) > 0 else 0.0
    return air_kg_s, air_path(carburettor, opening, air_kg_s, air, kappa)


class Circuit(NamedTuple):
    fuel_kg_s: float
    bleed_kg_s: float
    well_pa: float


def main_circuit(carburettor, fuel, path, bowl_pa, temperature_k):
    """Main jet and main air jet into a well that empties through the needle annulus into the throat.

    One unknown, the well pressure: head(p_w, p_v) = two-phase drop, rising in p_w.
    """
    c = carburettor
    outlet_m2 = c.annulus_discharge * needle_annulus(c, path.lift_m)
    bleed_m2 = c.air_jet_discharge * math.pi / 4 * c.main_air_jet_m**2
    density, viscosity = fuel.density_kg_m3, fuel.viscosity_pa_s
    lifted_pa = bowl_pa - density * GRAVITY * c.main_head_m

    def flows(well_pa):
        liquid = liquid_jet(lifted_pa - well_pa, c.main_jet_m, c.main_jet_length_m, c.main_jet_discharge, density, viscosity)
        return liquid, max(gas_orifice(bleed_m2, path.airbox_pa, well_pa, temperature_k), 0.0)

    def surplus_pa(well_pa):
        liquid, gas = flows(well_pa)
        gas_kg_m3 = well_pa / (GAS_CONSTANT * temperature_k)
        return gas_head(well_pa, path.throat_pa) - two_phase_drop(liquid, gas, outlet_m2, density, gas_kg_m3, c.main_interaction)

    if path.airbox_pa - path.throat_pa < 1.0 or surplus_pa(path.airbox_pa) <= 0:
        return Circuit(0.0, 0.0, path.airbox_pa)
    well_pa = root(surplus_pa, path.throat_pa, path.airbox_pa, path.airbox_pa)
    return Circuit(*flows(well_pa), well_pa)


def uncovered_ports(carburettor, plate_angle_rad):
    """Areas of the transition ports (behind the plate edge, before it).

    The edge has moved d/2 (sin a - sin a0) along the wall; each port is uncovered by a smoothstep over its
    own bore.  A plain slide has no plate: its port is reckoned with the same angles and always lies behind.
    """
    edge_m = carburettor.bore_m / 2 * (math.sin(plate_angle_rad) - math.sin(carburettor.plate_closed_rad))
    behind = before = 0.0
    for upstream_m, bore_m in carburettor.ports_m:
        share, area = smoothstep((edge_m - upstream_m) / bore_m + 0.5), math.pi / 4 * bore_m * bore_m
        behind += share * area
        before += (1 - share) * area
    return behind, before


def pilot_circuit(carburettor, fuel, path, bowl_pa, manifold_pa, plate_angle_rad, temperature_k):
    """Pilot jet and pilot air jet into a passage that empties past the screw and the uncovered ports.

    Ports still before the plate edge bleed air in.  On an air screw the screw throttles the pilot air
    and the outlet is a fixed hole of 0.85 mm.  One unknown, the pressure in the passage.
    """
    c = carburettor
    behind_m2, before_m2 = uncovered_ports(c, plate_angle_rad)
    screw_m2 = screw_area(c.turns, c.screw_seat_m, c.screw_half_angle_rad, c.screw_pitch_m)
    air_jet_m2 = math.pi / 4 * c.pilot_air_jet_m**2
    if c.air_screw:
        bleed_m2, hole_m2 = c.air_jet_discharge * min(screw_m2, air_jet_m2), math.pi / 4 * (0.85e-3) ** 2
    else:
        bleed_m2, hole_m2 = c.air_jet_discharge * air_jet_m2, screw_m2
    outlet_m2 = c.screw_discharge * (hole_m2 + behind_m2)
    port_bleed_m2 = c.screw_discharge * before_m2
    density, viscosity = fuel.density_kg_m3, fuel.viscosity_pa_s
    lifted_pa = bowl_pa - density * GRAVITY * c.pilot_head_m

    def flows(well_pa):
        liquid = liquid_jet(lifted_pa - well_pa, c.pilot_jet_m, c.pilot_jet_length_m, c.pilot_jet_discharge, density, viscosity)
        gas = gas_orifice(bleed_m2, path.airbox_pa, well_pa, temperature_k)
        gas += gas_orifice(port_bleed_m2, path.behind_slide_pa, well_pa, temperature_k)
        return liquid, max(gas, 0.0)

    def surplus_pa(well_pa):
        liquid, gas = flows(well_pa)
        gas_kg_m3 = well_pa / (GAS_CONSTANT * temperature_k)
        drop_pa = two_phase_drop(liquid, gas, outlet_m2, density, gas_kg_m3, c.pilot_interaction)
        return gas_head(well_pa, manifold_pa, GAMMA_EMULSION) - drop_pa

    if path.airbox_pa - manifold_pa < 2.0 or surplus_pa(path.airbox_pa) <= 0:
        return Circuit(0.0, 0.0, path.airbox_pa)
    well_pa = root(surplus_pa, manifold_pa, path.airbox_pa, path.airbox_pa)
    return Circuit(*flows(well_pa), well_pa)


def solve(carburettor, engine, opening, rpm, air=Air(), fuel=Fuel()):
    """The whole state at a throttle opening 0..1 and an engine speed.

    The manifold pressure balances  throttle air + pilot bleed + manifold leak = engine demand.

    `engine_air_kg_s` counts the main bleed on top of that balance, although this air leaves through the
    throat and passed the throttle already; it is kept so, and `lambda` and the torque are reckoned with it.
    Whoever counts it once finds the parts listed: throttle, leak, pilot bleed.
    """
    c = carburettor
    area_m2 = c.throttle_discharge * throttle_area(c, opening)
    kappa = pulsation(c.pulsation_open, area_m2, engine.displacement_m3, rpm)
    angle = plate_angle(c, opening)

    def supply(manifold_pa):
        throttle_kg_s, path = throttle_air(c, opening, manifold_pa, air, kappa)
        bowl_pa = path.airbox_pa if c.bowl_vented_to_airbox else air.pressure_pa
        pilot = pilot_circuit(c, fuel, path, bowl_pa, manifold_pa, angle, air.temperature_k)
        leak_kg_s = gas_orifice(0.8 * c.leak_m2, air.pressure_pa, manifold_pa, air.temperature_k)
        return throttle_kg_s, path, bowl_pa, pilot, leak_kg_s

    def surplus_kg_s(manifold_pa):
        throttle_kg_s, _, _, pilot, leak_kg_s = supply(manifold_pa)
        return throttle_kg_s + pilot.bleed_kg_s + leak_kg_s - engine.demand_kg_s(manifold_pa, rpm, air.pressure_pa)

    manifold_pa = root(surplus_kg_s, 6e3, air.pressure_pa - 0.5, air.pressure_pa)
    throttle_kg_s, path, bowl_pa, pilot, leak_kg_s = supply(manifold_pa)
    main = main_circuit(c, fuel, path, bowl_pa, air.temperature_k)
    engine_air_kg_s = throttle_kg_s + pilot.bleed_kg_s + leak_kg_s + main.bleed_kg_s
    fuel_kg_s = main.fuel_kg_s + pilot.fuel_kg_s
    return {
        "opening": opening,
        "rpm": rpm,
        "kappa": kappa,
        "manifold_pa": manifold_pa,
        "airbox_pa": path.airbox_pa,
        "throat_pa": path.throat_pa,
        "behind_slide_pa": path.behind_slide_pa,
        "lift_m": None if c.kind == "fixed_venturi" else path.lift_m,
        "plate_angle_rad": None if c.kind == "slide" else angle,
        "engine_air_kg_s": engine_air_kg_s,
        "throttle_air_kg_s": throttle_kg_s,
        "leak_air_kg_s": leak_kg_s,
        "main_fuel_kg_s": main.fuel_kg_s,
        "pilot_fuel_kg_s": pilot.fuel_kg_s,
        "main_bleed_kg_s": main.bleed_kg_s,
        "pilot_bleed_kg_s": pilot.bleed_kg_s,
        "main_well_pa": main.well_pa,
        "pilot_well_pa": pilot.well_pa,
        "lambda": engine_air_kg_s * air.dry_mass_fraction / (fuel.stoichiometric_ratio * fuel_kg_s) if fuel_kg_s > 0 else None,
    }


# ---------------------------------------------------------------------------------- idle

LOWEST_RPM, HIGHEST_RPM, SCAN_INTERVALS = 450.0, 3500.0, 15


def torque_surplus_pa(engine, air, state, air_once=False):
    """Indicated less friction less pumping (p0 - pm), as mean pressures; no fuel, no burning.

    With `air_once` the main bleed, which passed the throttle with the rest, is not counted a second time.
    """
    indicated = 0.0
    if state["lambda"] is not None:
        engine_air_kg_s = state["engine_air_kg_s"]
        drawn_kg_s = engine_air_kg_s - state["main_bleed_kg_s"] if air_once else engine_air_kg_s
        richness = engine_air_kg_s / drawn_kg_s / state["lambda"]
        indicated = engine.indicated_pa(drawn_kg_s, state["rpm"], richness, state["manifold_pa"], air.pressure_pa)
    return indicated - engine.friction_pa(state["rpm"]) - (air.pressure_pa - state["manifold_pa"])


def idle(carburettor, engine, air=Air(), fuel=Fuel(), opening=0.0, air_once=False):
    """The fastest stable equilibrium between 450 and 3500 rpm, or None: the engine is said to stall.

    Stable means that the surplus torque falls through zero with speed.  The speeds are scanned downwards.
    A surplus positive over a narrow band only could be stepped over, so every hump of the scan that stays
    below zero is searched for its top.  At idle the surplus falls with speed throughout, so that a stall
    here means an equilibrium below 450 rpm, where nothing turns any more, not one that has vanished.
    """

    def surplus(rpm):
        return torque_surplus_pa(engine, air, solve(carburettor, engine, opening, rpm, air, fuel), air_once)

    def refined(low, high):
        rpm = brentq(surplus, low, high, xtol=1e-9, rtol=8.881784197001252e-16)
        return solve(carburettor, engine, opening, rpm, air, fuel)

    def hump(low, high):
        top = minimize_scalar(lambda rpm: -surplus(rpm), bounds=(low, high), method="bounded", options={"xatol": 0.01})
        return refined(top.x, high) if top.fun < 0 else None

    step = (HIGHEST_RPM - LOWEST_RPM) / SCAN_INTERVALS
    speeds = [HIGHEST_RPM - i * step for i in range(SCAN_INTERVALS + 1)]
    scanned = []
    for i, rpm in enumerate(speeds):
        scanned.append(surplus(rpm))
        if scanned[i] > 0:
            if i == 0:
                raise ValueError("idles faster than the scanned range")
            return refined(rpm, speeds[i - 1])
        if i >= 2 and scanned[i - 1] >= max(scanned[i - 2], scanned[i]):
            found = hump(rpm, speeds[i - 2])
            if found:
                return found
    return hump(speeds[-1], speeds[-2]) if scanned[-1] > scanned[-2] else None


def idle_with_stop_reset(carburettor, engine, rpm, air=Air(), fuel=Fuel()):
    """Idle with the throttle stop turned until the engine idles at `rpm`, or None where it cannot be."""

    def turned(plate_idle_rad):
        return replace(carburettor, plate_idle_rad=plate_idle_rad)

    def surplus(plate_idle_rad):
        return torque_surplus_pa(engine, air, solve(turned(plate_idle_rad), engine, 0.0, rpm, air, fuel))

    low, high = math.radians(8.3), math.radians(14.5)
    if surplus(low) * surplus(high) > 0:
        return None
    plate_idle_rad = brentq(surplus, low, high, xtol=1e-13)
    return solve(turned(plate_idle_rad), engine, 0.0, rpm, air, fuel)
