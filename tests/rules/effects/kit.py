"""The common test pump of the checks: rev/min, metres, water."""

from __future__ import annotations

SPEED_RPM = 2950.0
RIM_M, RING_M = 0.250, 0.130
FLOW_M3_S, HEAD_M = 100 / 3600, 50.0
WATER_KG_M3, WATER_M2_S = 1000.0, 1e-6
