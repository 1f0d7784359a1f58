#!/usr/bin/env python3
"""Reference numbers for the fuel and air network of a float carburettor: writes them, times them.

The equations are in `network_model.py` beside this script.

    python reference_network.py elements|states|idle|all     writes the JSON files beside the script
    python reference_network.py time                         prints `name seconds`, one pair a line
"""

import json
import math
import random
import sys
import time
from dataclasses import asdict, replace
from pathlib import Path

from scipy.optimize import brentq

sys.dont_write_bytecode = True  # leaves nothing beside the script but the files it is asked for

from network_model import (
    CONSTANT_DEPRESSION,
    FIXED_VENTURI,
    GAMMA_AIR,
    GAMMA_EMULSION,
    GAS_CONSTANT,
    GRAVITY,
    REGULARISATION_PA,
    SLIDE,
    SOUND_SPEED,
    Air,
    Engine,
    Fuel,
    circular_segment,
    gas_head,
    gas_orifice,
    homogeneous_interaction,
    idle,
    idle_with_stop_reset,
    liquid_jet,
    plate_area,
    pulsation,
    screw_area,
    smoothstep,
    solve,
    standard_air,
    two_phase_drop,
)


def summary(sweep):
    """What a screw sweep says: best turns, leanest within 5 rpm, the two 50 rpm drops, where it stalls.

    All on the sweep's own grid; None where the sweep does not reach.
    """
    idling = [(turns, state) for turns, state in sweep if state]
    if not idling:
        return None
    best_turns, best = max(idling, key=lambda point: (point[1]["rpm"], -point[0]))
    peak_rpm = best["rpm"]
    return {
        "best_turns": best_turns,
        "leanest_within_5_rpm_turns": next(t for t, s in idling if s["rpm"] >= peak_rpm - 5),
        "lean_drop_50_rpm_turns": max((t for t, s in idling if t <= best_turns and s["rpm"] <= peak_rpm - 50), default=None),
        "rich_drop_50_rpm_turns": min((t for t, s in idling if t >= best_turns and s["rpm"] <= peak_rpm - 50), default=None),
        "stall_turns": max((t for t, s in sweep if s is None and t < best_turns), default=None),
        "peak_rpm": peak_rpm,
        "lambda_at_peak": best["lambda"],
        "manifold_at_peak_pa": best["manifold_pa"],
    }


def idle_cases():
    """(name, what differs from the base carburettor, air, fuel)."""
    base = CONSTANT_DEPRESSION
    yield "base", {}, Air(), Fuel()
    for bore_mm in (0.36, 0.38, 0.40, 0.42, 0.44, 0.48, 0.50, 0.52):
        yield f"pilot jet {bore_mm:.2f} mm", {"pilot_jet_m": bore_mm * 1e-3}, Air(), Fuel()
    for leak_mm2 in (0.5, 1.0, 2.0, 4.0):
        yield f"manifold leak {leak_mm2:g} mm2", {"leak_m2": leak_mm2 * 1e-6}, Air(), Fuel()
    for bore_mm in (1.0, 1.4):
        yield f"pilot air jet {bore_mm:.1f} mm", {"pilot_air_jet_m": bore_mm * 1e-3}, Air(), Fuel()
    yield "altitude 1500 m", {}, standard_air(1500.0), Fuel()
    lower = {"main_head_m": base.main_head_m + 3e-3, "pilot_head_m": base.pilot_head_m + 3e-3}
    yield "fuel level 3 mm lower", lower, Air(), Fuel()
    yield "throttle stop 1 degree more", {"plate_idle_rad": base.plate_idle_rad + math.radians(1)}, Air(), Fuel()
    yield "ethanol 10 %", {}, Air(), Fuel(0.10)


def turns_for_lambda(wanted, state_at):
    """Leanest turns in 1..6 at which `state_at(turns)` reaches the wanted lambda, or None."""
    leaner = None
    for turns in (1 + 0.25 * i for i in range(21)):
        state = state_at(turns)
        if state and state["lambda"] <= wanted:
            if leaner is None:
                return turns
            return brentq(lambda t: state_at(t)["lambda"] - wanted, leaner, turns, xtol=1e-9)
        leaner = turns if state else None
    return None


def golden_points():
    """Element functions at points chosen to lie on every branch: (function, argument names, values)."""
    fuel = Fuel()
    density, viscosity = fuel.density_kg_m3, fuel.viscosity_pa_s
    seat, taper, pitch = 1.2e-3, math.radians(6.3), 0.75e-3
    gas_density = 1.15
    homogeneous = homogeneous_interaction(density, gas_density)

    gas = [(1e-6, 101325.0, float(p), 298.15) for p in (101320, 101000, 95000, 70000, 53528, 40000)]
    gas += [(1e-6, 101325.0, p, 298.15) for p in (101325.0, 101324.5, 101323.0, 101315.0, 101225.0, 60000.0, 53530.0, 53520.0, 6000.0)]
    gas += [(3.7e-5, 70108.0, p, 278.65) for p in (70000.0, 60000.0, 37040.0, 37030.0, 20000.0)]
    gas += [(1e-6, p, 101325.0, 298.15) for p in (101320.0, 101000.0, 70000.0, 53528.0, 40000.0)]
    gas += [(2.5e-7, 40300.0, 101130.0, 308.15), (2.5e-7, 99313.0, 101084.0, 288.4)]

    head = [(101325.0, p, g) for g in (1.4, 1.2) for p in (101325.0, 101320.0, 100325.0, 80000.0, 58000.0, 56000.0, 53500.0, 30000.0)]
    head += [(60000.0, 101325.0, g) for g in (1.4, 1.2)] + [(40000.0, 101325.0, g) for g in (1.4, 1.2)]
    head += [(99313.6, 40303.7, 1.2), (93144.4, 63812.3, 1.2)]

    jet = [(float(dp), 0.46e-3, 1.5e-3, 0.78, density, viscosity) for dp in (10, 100, 1000, 3000, 10000)]
    jet += [(dp, 0.46e-3, 1.5e-3, 0.78, density, viscosity) for dp in (-5.0, 0.0, 0.01, 1.0)]
    jet += [(dp, d, 1.5e-3, 0.78, density, viscosity) for d in (0.36e-3, 0.40e-3, 0.52e-3) for dp in (50.0, 2000.0)]
    jet += [(dp, d, 4e-3, 0.80, density, viscosity) for d in (1.05e-3, 1.44e-3, 1.90e-3, 2.02e-3) for dp in (50.0, 2000.0)]
    jet += [(2000.0, 0.46e-3, length, 0.78, density, viscosity) for length in (0.5e-3, 3e-3, 6e-3)]
    for blend in (Fuel(0.10), Fuel(0.85), Fuel(1.0, 278.0), Fuel(0.0, 318.0)):
        jet += [(dp, 0.46e-3, 1.5e-3, 0.78, blend.density_kg_m3, blend.viscosity_pa_s) for dp in (100.0, 2000.0)]
    jet += [(2000.0, 0.46e-3, 1.5e-3, 0.78, density, 0.0)]

    drop = [(2.4e-4, 8e-5, 5e-7, density, gas_density, c) for c in (2.0, 4.0, 12.0, homogeneous)]
    drop += [(1.2e-3, 1.3e-5, 1.8e-6, density, 1.18, c) for c in (2.0, 4.0, 12.0, homogeneous_interaction(density, 1.18))]
    drop += [(0.0, 8e-5, 5e-7, density, gas_density, 12.0), (2.4e-4, 0.0, 5e-7, density, gas_density, 12.0)]
    drop += [(4.3e-4, 8.6e-5, 4.1e-7, Fuel(0.1).density_kg_m3, 0.62, 25.0)]

    screw = [(float(t), seat, taper, pitch) for t in (0.5, 1, 2, 3, 4, 6)]
    screw += [(t, seat, taper, pitch) for t in (-1.0, 0.0, 0.125, 1.75, 2.5, 7.2, 7.4, 12.0)]
    screw += [(t, 0.9e-3, math.radians(5.0), 0.5e-3) for t in (0.5, 2.0, 4.0, 11.0)]
    screw += [(t, 1.0e-3, math.radians(8.0), 0.5e-3) for t in (0.5, 2.0, 4.0, 8.0)]
    screw += [(t, 1.3e-3, math.radians(12.0), 1.0e-3) for t in (0.25, 1.0, 3.0, 3.3, 5.0)]

    segment = [(h, 34e-3) for h in (2e-3, 7e-3, 17e-3, 33.5e-3)]
    segment += [(h, d) for d in (28e-3, 36e-3) for h in (1e-4, 1.45e-3, 10e-3, d / 2, 0.9 * d, d, 1.1 * d)]

    closed, bore = math.radians(8.0), 40e-3
    plate = [(math.radians(a), closed, bore, 1e-6) for a in (6.0, 8.0, 8.3, 10.0, 11.6, 14.0, 20.0, 45.0, 70.0, 90.0)]
    plate += [(math.radians(a), math.radians(10.0), 32e-3, 0.0) for a in (10.0, 11.0, 13.0, 30.0, 60.0, 90.0)]

    swept = 1.2e-3
    pulse = [(k0, 0.8 * plate_area(math.radians(a), closed, bore, 1e-6), swept, n)
             for k0, a, n in ((2.0, 11.6, 1000.0), (2.0, 16.5, 1500.0), (2.0, 21.4, 2100.0), (2.0, 31.2, 2900.0), (2.0, 41.0, 3300.0),
                              (2.0, 50.8, 3800.0), (2.0, 90.0, 5200.0), (1.0, 41.0, 3300.0), (3.0, 41.0, 3300.0), (1.6, 31.2, 900.0))]  # fmt: skip

    flow = ("effective_area_m2", "upstream_pa", "downstream_pa", "temperature_k")
    return [
        (gas_orifice, flow, gas),
        (gas_head, ("upstream_pa", "downstream_pa", "gamma"), head),
        (liquid_jet, ("drop_pa", "bore_m", "length_m", "discharge", "density_kg_m3", "viscosity_pa_s"), jet),
        (two_phase_drop, ("liquid_kg_s", "gas_kg_s", "effective_area_m2", "liquid_kg_m3", "gas_kg_m3", "interaction"), drop),
        (screw_area, ("turns", "seat_m", "half_angle_rad", "pitch_m"), screw),
        (circular_segment, ("height_m", "bore_m"), segment),
        (plate_area, ("plate_angle_rad", "closed_angle_rad", "bore_m", "leak_m2"), plate),
        (smoothstep, ("z",), [(z,) for z in (-0.3, 0.0, 1e-3, 0.1, 0.25, 0.5, 0.75, 0.999, 1.0, 1.7)]),
        (pulsation, ("pulsation_open", "effective_area_m2", "displacement_m3", "rpm"), pulse),
    ]


def fuel_properties(fuel):
    return {**asdict(fuel), "density_kg_m3": fuel.density_kg_m3, "viscosity_pa_s": fuel.viscosity_pa_s,
            "stoichiometric_ratio": fuel.stoichiometric_ratio}  # fmt: skip


def air_properties(air):
    return {**asdict(air), "dry_mass_fraction": air.dry_mass_fraction}


def elements():
    """Every element function at its points, and the properties of fuels, airs and the engine."""
    engine, out = Engine(), {"constants": constants()}
    for function, names, points in golden_points():
        out[function.__name__] = [{**dict(zip(names, point)), "value": function(*point)} for point in points]
    out["fuel"] = [fuel_properties(f) for f in (Fuel(), Fuel(0.1), Fuel(0.2), Fuel(0.85), Fuel(1.0), Fuel(0.0, 318.0), Fuel(0.1, 278.0))]
    out["air"] = [air_properties(a) for a in (Air(), Air(relative_humidity=1.0), Air(95000.0, 308.15, 0.6), Air(70108.0, 278.65, 0.3))]
    out["standard_air"] = [
        {"altitude_m": h, "warmer_k": w, **asdict(standard_air(h, w))} for h, w in ((0.0, 0.0), (1500.0, 10.0), (3000.0, 10.0))
    ]
    out["engine_demand"] = [
        {"manifold_pa": p, "rpm": n, "exhaust_pa": 101325.0, "value": engine.demand_kg_s(p, n, 101325.0)}
        for p, n in ((35e3, 900.0), (40e3, 1000.0), (63e3, 1500.0), (88e3, 2900.0), (99e3, 5200.0), (6e3, 1000.0))]  # fmt: skip
    out["engine_torque"] = [
        {"richness": phi, "residual_fraction": x, "mixture_torque": engine.mixture_torque(phi), "burn_fraction": engine.burn_fraction(phi, x)}
        for phi in (0.6, 0.75, 0.85, 1.0, 1.12, 1.3, 1.6) for x in (0.05, 0.10, 0.23, 0.30)]  # fmt: skip
    out["engine_friction"] = [{"rpm": n, "value": engine.friction_pa(n)} for n in (450.0, 1000.0, 3500.0)]
    return out


def constants():
    return {"gas_constant_j_kg_k": GAS_CONSTANT, "gravity_m_s2": GRAVITY, "gamma_air": GAMMA_AIR, "gamma_emulsion": GAMMA_EMULSION,
            "regularisation_pa": REGULARISATION_PA, "sound_speed_m_s": SOUND_SPEED}  # fmt: skip


BASE_POINTS = (
    (0.0, 1000.0),
    (1 / 16, 1500.0),
    (1 / 8, 2100.0),
    (1 / 4, 2900.0),
    (3 / 8, 3300.0),
    (1 / 2, 3800.0),
    (3 / 4, 4600.0),
    (1.0, 5200.0),
)
SLIDE_POINTS = (
    (0.0, 1000.0),
    (1 / 16, 1600.0),
    (1 / 8, 2200.0),
    (1 / 4, 3000.0),
    (3 / 8, 3500.0),
    (1 / 2, 4000.0),
    (3 / 4, 4700.0),
    (1.0, 5200.0),
)


def surroundings():
    return {"constants": constants(), "engine": asdict(Engine()), "air": air_properties(Air()), "fuel": fuel_properties(Fuel())}


def perturbed(seed=1863, count=40):
    """Random carburettors near idle: (altitude, what differs from the base, speed)."""
    draw = random.Random(seed)

    def between(low, high):
        return low + (high - low) * draw.random()

    for _ in range(count):
        rpm, altitude_m = between(600.0, 2000.0), between(0.0, 3000.0)
        yield (
            rpm,
            altitude_m,
            {
                "turns": between(0.5, 5.0),
                "pilot_jet_m": between(0.36e-3, 0.52e-3),
                "pilot_air_jet_m": between(0.7e-3, 1.4e-3),
                "leak_m2": between(0.0, 4e-6),
                "main_interaction": between(2.0, 25.0),
                "pilot_interaction": between(2.0, 25.0),
                "plate_idle_rad": math.radians(between(10.0, 14.0)),
                "recess_m": between(4e-3, 8e-3),
                "filter_pa_s2_kg2": between(0.5e5, 5e5),
            },
        )


def states():
    """Solved operating points of the three kinds, and of random changes to the first near idle."""
    engine, out = Engine(), surroundings()
    out["carburettors"] = {c.kind: asdict(c) for c in (CONSTANT_DEPRESSION, SLIDE, FIXED_VENTURI)}
    for carburettor, points in ((CONSTANT_DEPRESSION, BASE_POINTS), (SLIDE, SLIDE_POINTS), (FIXED_VENTURI, BASE_POINTS)):
        out[carburettor.kind] = [solve(carburettor, engine, opening, rpm) for opening, rpm in points]
    out["perturbed"] = []
    for rpm, altitude_m, differs in perturbed():
        air = standard_air(altitude_m)
        state = solve(replace(CONSTANT_DEPRESSION, **differs), engine, 0.0, rpm, air)
        out["perturbed"].append({"altitude_m": altitude_m, "air": air_properties(air), "differs": differs, "state": state})
    return out


IDLE_FIELDS = ("rpm", "lambda", "manifold_pa", "engine_air_kg_s", "throttle_air_kg_s", "main_bleed_kg_s", "pilot_fuel_kg_s")


def idle_figures():
    """Idle equilibria over the screw: the base, every case, and a leak with and without the stop reset."""
    engine, out = Engine(), surroundings()
    out["carburettor"] = asdict(CONSTANT_DEPRESSION)
    out["cases"] = []
    grid = [0.25 + 0.125 * i for i in range(47)]

    def told(turns, state):
        return {"turns": turns, **{field: state[field] if state else None for field in IDLE_FIELDS}}

    for name, differs, air, fuel in idle_cases():
        carburettor = replace(CONSTANT_DEPRESSION, **differs)
        sweep = [(turns, idle(replace(carburettor, turns=turns), engine, air, fuel)) for turns in grid]
        if name == "base":
            out["base_sweep"] = [told(turns, state) for turns, state in sweep if turns >= 0.5]
        told_at = (1.5, 2.0, 2.5, 3.0, 4.0, 5.0)
        points = [told(turns, state) for turns, state in sweep if turns in told_at]
        once = [(t, idle(replace(carburettor, turns=t), engine, air, fuel, air_once=True)) for t in told_at]
        out["cases"].append({"name": name, "differs": differs, "air": air_properties(air), "fuel": fuel_properties(fuel),
                             "points": points, "points_air_once": [told(turns, state) for turns, state in once],
                             "summary": summary(sweep)})  # fmt: skip

    out["leak_and_stop"] = [leak_and_stop(engine, leak_mm2 * 1e-6) for leak_mm2 in (0.0, 1.0, 2.0, 3.0, 4.0)]
    return out


def leak_and_stop(engine, leak_m2, wanted_lambda=0.90, wanted_rpm=1000.0):
    """Turns that give a lambda with a manifold leak: stop reset to a speed each time, and stop left alone."""
    leaking = replace(CONSTANT_DEPRESSION, leak_m2=leak_m2)

    def reset(turns):
        return idle_with_stop_reset(replace(leaking, turns=turns), engine, wanted_rpm)

    def alone(turns):
        return idle(replace(leaking, turns=turns), engine)

    reset_turns, alone_turns = turns_for_lambda(wanted_lambda, reset), turns_for_lambda(wanted_lambda, alone)
    return {
        "leak_m2": leak_m2,
        "lambda": wanted_lambda,
        "rpm_when_reset": wanted_rpm,
        "stop_reset_turns": reset_turns,
        "stop_reset_plate_rad": reset(reset_turns)["plate_angle_rad"] if reset_turns else None,
        "stop_alone_turns": alone_turns,
        "stop_alone_rpm": alone(alone_turns)["rpm"] if alone_turns else None,
    }


def timing():
    """Seconds for an operating point, an idle equilibrium and a sweep of 100 screw positions, all of the base."""
    engine = Engine()

    def seconds(work, repeats):
        work()
        start = time.perf_counter()
        for _ in range(repeats):
            work()
        return (time.perf_counter() - start) / repeats

    points = seconds(lambda: [solve(CONSTANT_DEPRESSION, engine, u, n) for u, n in BASE_POINTS], 10) / len(BASE_POINTS)
    at_idle = seconds(lambda: solve(CONSTANT_DEPRESSION, engine, 0.0, 1000.0), 50)
    equilibrium = seconds(lambda: idle(CONSTANT_DEPRESSION, engine), 5)
    positions = [0.5 + 5.5 * i / 99 for i in range(100)]
    start = time.perf_counter()
    for turns in positions:
        idle(replace(CONSTANT_DEPRESSION, turns=turns), engine)
    sweep = time.perf_counter() - start
    for name, value in (("operating_point", points), ("operating_point_at_idle", at_idle),
                        ("idle_equilibrium", equilibrium), ("idle_sweep_100", sweep)):  # fmt: skip
        print(f"{name} {value:.6g}")


def compact(value, indent=0):
    """JSON with every innermost record on a line of its own; floats as the shortest text that reads back exactly."""
    pad = " " * (indent + 1)
    if isinstance(value, dict) and any(isinstance(v, (dict, list)) for v in value.values()):
        body = ",\n".join(f"{pad}{json.dumps(k)}: {compact(v, indent + 1)}" for k, v in value.items())
        return "{\n" + body + "\n" + " " * indent + "}"
    if isinstance(value, list) and any(isinstance(v, dict) for v in value):
        return "[\n" + ",\n".join(pad + compact(v, indent + 1) for v in value) + "\n" + " " * indent + "]"
    return json.dumps(value, allow_nan=False)


FILES = {"elements": elements, "states": states, "idle": idle_figures}


def main(arguments):
    task = arguments[0] if len(arguments) == 1 else ""
    if task == "time":
        timing()
    elif task in FILES or task == "all":
        for name in FILES if task == "all" else (task,):
            Path(__file__).with_name(f"{name}.json").write_text(compact(FILES[name]()) + "\n", encoding="utf-8")
    else:
        sys.exit("usage: python reference_network.py elements|states|idle|time|all")


if __name__ == "__main__":
    main(sys.argv[1:])
