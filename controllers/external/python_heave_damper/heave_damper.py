"""A law of our own invention in one file, Python standard library only: it damps heave.

The vertical acceleration is integrated with a leak to a vertical velocity; every lifting surface
that is no rudder gets the same angle about its trim against it. Signs: z is down, so a craft that
sinks has a positive velocity and asks for positive angles, which lift.

Protocol: documented in src/control/external.rs. Parameters (controller file, "parameters"):
gain_rad_s_per_m, leak_rad_s.
"""

import json
import math
import sys

PROTOCOL = "ridewright.control/1"
G_M_S2 = 9.80665


class HeaveDamper:
    """The law: reset forgets everything, update gives one angle per surface (None: leave it)."""

    def reset(self, data):
        self.period_s = data["sample_period_s"]
        self.surfaces = data["surfaces"]
        parameters = data.get("parameters", {})
        self.gain = parameters.get("gain_rad_s_per_m", 0.1)
        self.leak = parameters.get("leak_rad_s", 0.1)
        self.velocity_m_s = 0.0

    def update(self, y):
        if y["valid"]["acceleration"] and y["valid"]["attitude"]:
            fx, fy, fz = y["specific_force_m_s2"]
            sf, cf = math.sin(y["roll_rad"]), math.cos(y["roll_rad"])
            st, ct = math.sin(y["pitch_rad"]), math.cos(y["pitch_rad"])
            down = -st * fx + ct * sf * fy + ct * cf * fz + G_M_S2
            rate = down - self.leak * self.velocity_m_s
            self.velocity_m_s += self.period_s * rate
        asked = []
        for surface, low, high in zip(self.surfaces, y["min_rad"], y["max_rad"]):
            if surface["group"] == "rudder":
                asked.append(None)
                continue
            angle = surface["trim_rad"] + self.gain * self.velocity_m_s
            asked.append(min(max(angle, low), high))
        return asked


def answer(kind, data):
    print(json.dumps({"type": kind, "data": data}), flush=True)


def main():
    law = HeaveDamper()
    for line in sys.stdin:
        message = json.loads(line)
        kind, data = message["type"], message["data"]
        if kind == "hello":
            answer("hello", {"protocol": PROTOCOL, "name": "heave damper"})
        elif kind == "reset":
            law.reset(data)
            answer("ready", {})
        elif kind == "update":
            answer("command", {"step": data["step"], "fin_rad": law.update(data)})
        elif kind == "bye":
            return
        else:
            answer("error", {"message": f"unknown message {kind}"})


if __name__ == "__main__":
    main()
