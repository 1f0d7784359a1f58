"""Makes flow.csv beside it: gas through an orifice.

Python 3.11; fluids 1.1.0.
Run in this folder: python3 flow.py

The head is drop times the square of the expansibility of a long-radius nozzle in an endless pipe, which
is isentropic flow to the throat.
"""
import csv

from fluids import P_critical_flow
from fluids.flow_meter import nozzle_expansibility

FROM_PA = 101325.0
with open("flow.csv", "w", newline="") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["gamma", "critical_ratio", "ratio", "head_pa"])
    for gamma in (1.2, 1.3, 1.33, 1.4, 1.6):
        critical = P_critical_flow(1.0, gamma)
        for ratio in (0.995, 0.99, 0.98, 0.95, 0.9, 0.8, 0.7, 0.6, critical):
            expansibility = nozzle_expansibility(D=1.0, Do=1e-6, P1=FROM_PA, P2=ratio * FROM_PA, k=gamma)
            head = (1.0 - ratio) * FROM_PA * expansibility**2
            table.writerow([gamma, f"{critical:.10f}", f"{ratio:.10f}", f"{head:.6f}"])
