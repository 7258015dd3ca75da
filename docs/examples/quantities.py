"""Text with units becomes plain numbers in N, mm and MPa."""

from firedeck.units import parse_quantity, to_unit

torque = parse_quantity("80 lbf*ft", "torque")
pressure = parse_quantity("150 bar", "pressure")

print(f"torque {torque:.0f} N*mm")
print(f"pressure {pressure:.1f} MPa, {to_unit(pressure, 'pressure', 'psi'):.0f} psi")

# prints
# > torque 108465 N*mm
# > pressure 15.0 MPa, 2176 psi
