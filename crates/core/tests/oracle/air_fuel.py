"""Makes air.csv, atmosphere.csv and liquids.csv beside it.

Python 3.11; PsychroLib 2.5.0, CoolProp 8.0.0, ambiance 1.3.1, thermo 0.6.1.
Run in this folder: python3 air_fuel.py
"""
import csv

import CoolProp.CoolProp as coolprop
import psychrolib
from ambiance import Atmosphere
from thermo import ViscosityLiquid, VolumeLiquid

psychrolib.SetUnitSystem(psychrolib.SI)


def write(name, head, rows):
    with open(name, "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(head)
        table.writerows(rows)


STATES = [(20, 101325, 0.5), (20, 101325, 0.0), (15, 101325, 0.0), (0, 101325, 0.0), (30, 84000, 0.8),
          (5, 70000, 0.2), (25, 99000, 0.0), (25, 101325, 0.6), (25, 101325, 1.0), (35, 101325, 0.9),
          (40, 90000, 0.3), (10, 80000, 1.0), (40, 101325, 1.0), (60, 101325, 0.5)]
air = []
for t, p, rh in STATES:
    ratio = psychrolib.GetHumRatioFromRelHum(t, rh, p)
    ideal = psychrolib.GetMoistAirDensity(t, ratio, p)
    args = ("T", t + 273.15, "P", p, "R", rh)
    real = (1 + coolprop.HAPropsSI("W", *args)) / coolprop.HAPropsSI("Vda", *args)
    air.append([t, p, rh, f"{psychrolib.GetSatVapPres(t):.4f}", f"{ideal:.6f}", f"{real:.6f}"])
write("air.csv", ["celsius", "pressure_pa", "relative_humidity", "saturation_pa", "ideal_kg_m3", "real_kg_m3"], air)

EARTH_M = 6356766.0
atmosphere = []
for h in [-500, 0, 500, 1000, 1500, 2000, 2500, 3000, 4000, 6000, 11000]:
    # The library takes the geometric altitude.
    at = Atmosphere(EARTH_M * h / (EARTH_M - h))
    atmosphere.append([h, f"{at.temperature[0]:.4f}", f"{at.pressure[0]:.3f}", f"{at.density[0]:.7f}"])
write("atmosphere.csv", ["geopotential_m", "temperature_k", "pressure_pa", "density_kg_m3"], atmosphere)

liquids = []
for t in [-20, 0, 15, 20, 25, 40, 60]:
    kelvin = t + 273.15
    for name in ["n-Heptane", "Toluene", "Ethanol"]:
        density = coolprop.PropsSI("D", "T", kelvin, "P", 101325, name)
        viscosity = coolprop.PropsSI("V", "T", kelvin, "P", 101325, name)
        liquids.append([name, t, f"{density:.3f}", f"{viscosity:.4e}"])
    volume = VolumeLiquid(CASRN="540-84-1").T_dependent_property(kelvin)
    viscosity = ViscosityLiquid(CASRN="540-84-1").T_dependent_property(kelvin)
    liquids.append(["isooctane", t, f"{0.11422852 / volume:.3f}", f"{viscosity:.4e}"])
write("liquids.csv", ["liquid", "celsius", "density_kg_m3", "viscosity_pa_s"], liquids)
