"""The table of fields as text: to add a field, add one line.

``key | shown unit | plausible range in the shown unit | meaning``; values that are no quantity have
their kind (text, choice, count, number, corners) instead of the unit, and an example or the choices
instead of the range. An indented line carries on
the meaning above it, and ``[heading]`` starts a group. A key ``table.leaf`` is used where a bare
leaf would mean two things.
"""

from __future__ import annotations

TABLE = """
[schedule]
title             | text  | Level-gauge stem | What is welded, in a few words.
number            | text  | WS-014 | Number of the weld schedule in the shop's own numbering.
revision          | text  | A | Revision of the weld schedule.

[code]
code.name         | text  | as named in the contract | Welding code that the contract names.
code.edition      | text  | 2023 | Edition of that code.

[joint]
type              | choice | butt, tube-to-plate | Kind of joint.
form              | choice | tube, sheet, flush, fillet | Tube or sheet for a butt joint; flush or
                  fillet for a tube in a plate.
material          | text  | Ti Grade 2 | Grade of the tube or sheet, or the path of a material file.
wall_thickness    | mm    | 0.02 .. 10    | Thickness of the tube wall or of the sheet.
outside_diameter  | mm    | 0.3 .. 500    | Outside diameter of the tube.
seam_length       | mm    | 0.5 .. 10000  | Length of the seam in sheet.
gap               | mm    | 0 .. 5        | Largest gap between the edges that fit-up lets through.
mismatch          | mm    | 0 .. 5        | Largest step between the two surfaces at the joint.
face_squareness   | mm    | 0 .. 5        | Squareness tolerance of the faces: how much farther one
                  side of a face may lie along the axis than the other.
length_tolerance  | mm    | 0 .. 5        | Greatest deviation of the length of each part, either
                  way, where stops hold the parts.
set_gap           | mm    | 0 .. 5        | Gap that the stops are set to; left out where the parts
                  are pushed together.
tolerance_spread  | choice | uniform, normal, fixed | How faces and lengths vary within their
                  tolerances: evenly, normally with the tolerance at three sigma, or always at it.
plate_material    | text  | Ti Grade 2 | Grade of the plate, or the path of a material file.
plate_thickness   | mm    | 0.05 .. 50    | Thickness of the plate that the tube is welded into.

[goal]
goal.penetration  | %     | 5 .. 100      | Depth to be melted, as a share of the wall.
goal.root_width   | mm    | 0.01 .. 10    | Least width of a butt weld on its far side.
goal.spot_overlap | %     | 0 .. 99       | Least share of a spot that the next pulse hits again.
goal.haz_width    | mm    | 0.01 .. 20    | Most heat-affected metal on each side of the weld.
goal.part_temperature | degC | 20 .. 1500 | Hottest that the part as a whole may become.
goal.underfill    | mm    | 0 .. 10       | Most that the face of the weld may lie below the higher
                  edge beside it: your own limit.

[laser]
wavelength        | nm    | 300 .. 11000  | Wavelength of the laser light.
spot_diameter     | mm    | 0.005 .. 10   | Diameter of the laser spot on the part.
fibre_diameter    | um    | 5 .. 2000     | Core diameter of the fibre that brings the light.
collimation_length | mm   | 5 .. 2000     | Focal length of the lens that makes the beam parallel.
focal_length      | mm    | 5 .. 2000     | Focal length of the lens that focuses on the part.
focus_offset      | mm    | -100 .. 100   | Distance from the focus to the part surface; positive
                  with the focus above the surface.
beam_quality      | number | 1 .. 1000    | Beam quality M2: 1 is a perfect beam, fibres give more.
profile           | choice | top-hat, gaussian | Light spread evenly over the spot, or strongest
                  in its middle.
peak_power_limit  | W     | 1 .. 100000   | Highest pulse power that the laser can give.
pulse_energy_limit | J    | 0.02 .. 1000  | Most energy that one pulse may hold.
average_power_limit | W   | 0.1 .. 50000  | Highest power over many pulses.
pulse_duration_range | ms | 0.01 .. 200   | Shortest and longest pulse that the laser can give.
repetition_rate_limit | Hz | 0.1 .. 20000 | Most pulses a second that the laser can give.

[shielding]
gas               | text  | argon | Shielding gas.
purity            | %     | 90 .. 100     | Purity of the gas as delivered.
flow              | L/min | 0.05 .. 200   | Flow of shielding gas over the weld.
purge_volume      | mL    | 0.01 .. 1000000 | Space behind the weld that has to be freed of air.
purge_flow        | L/min | 0.005 .. 200  | Flow of gas into that space.
oxygen_target     | ppm   | 0.1 .. 10000  | Most oxygen left behind the weld before welding starts.
remove_below      | degC  | 50 .. 1000    | Metal must stay under gas until it is cooler than this.

[preparation]
cleaning          | text  | degrease, acetone wipe | How the edges are cleaned.
surface           | choice | polished, as machined, matt, oxidised | Surface that the beam
                  meets; it decides how much light is taken up.
clean_to_weld     | min   | 0 .. 100000   | Longest time between cleaning and welding.

[pass]
pass.name         | text  | root | Name of the pass.
peak_power        | W     | 1 .. 100000   | Highest power during the pulse.
pulse_energy      | J     | 0.02 .. 1000  | Energy in one pulse.
pulse_duration    | ms    | 0.01 .. 200   | How long one pulse lasts.
repetition_rate   | Hz    | 0.05 .. 20000 | Pulses in a second.
travel_speed      | mm/s  | 0.01 .. 200   | Speed of the spot along the seam.
rotation          | rpm   | 0.005 .. 500  | Turning speed of the tube.
beam_offset       | mm    | -5 .. 5       | Distance of the beam from the joint line; positive
                  towards the plate of a tube-to-plate joint.
beam_angle        | deg   | -80 .. 80     | Tilt of the beam away from upright, across the joint.
pulse_shape       | corners | square      | Power during the pulse: square, or corners of time and
                  power, both 0 to 1.
preheat           | degC  | -20 .. 800    | Temperature of the part when the pass starts.
arc               | deg   | 1 .. 1080     | Angle welded in one segment.
segments          | count | 1 .. 100      | Number of segments that make up the pass.
segment_pause     | s     | 0 .. 36000    | Pause between two segments.
closing_overlap   | deg   | 0 .. 360      | Angle welded on past the point where the seam closes.
pause_before      | s     | 0 .. 360000   | Pause between the end of the pass before and this one.

[scatter]
scatter.power          | %  | 0 .. 50     | Scatter of the power, one sigma.
scatter.duration       | %  | 0 .. 50     | Scatter of the pulse duration, one sigma.
scatter.spot_diameter  | %  | 0 .. 50     | Scatter of the spot diameter, one sigma.
scatter.focus          | mm | 0 .. 20     | Scatter of the focus position, one sigma.
scatter.wall_thickness | %  | 0 .. 50     | Scatter of the wall thickness, one sigma.
scatter.gap            | mm | 0 .. 2      | Scatter of the gap, one sigma.
scatter.beam_offset    | mm | 0 .. 2      | Scatter of the beam's place across the joint, one sigma.
scatter.absorptivity   | %  | 0 .. 80     | Scatter of the share of light taken up, one sigma.
scatter.travel_speed   | %  | 0 .. 50     | Scatter of the travel speed, one sigma.

[results]
duty_cycle        | %     | 0 .. 100      | Share of the time that the laser is on.
average_power     | W     | 0 .. 100000   | Power over many pulses.
mean_irradiance   | W/mm2 | 0 .. 1e9      | Power on each square millimetre of the spot, average.
pulse_pitch       | mm    | 0 .. 100      | Distance from one pulse to the next along the seam.
spot_overlap      | %     | -1e6 .. 100   | Share of a spot that the next pulse hits again, travel
                  during the pulse left out.
spot_overlap_with_travel | % | -1e6 .. 100 | The same with travel during the pulse counted in.
melt_overlap      | %     | -1e6 .. 100   | Overlap of the melted spots at the top of the weld.
root_overlap      | %     | -1e6 .. 100   | Overlap of the melted spots on the far side: it decides
                  whether the seam is tight.
pulses            | count | 0 .. 1e9      | Number of pulses in the pass.
weld_time         | s     | 0 .. 1e7      | Time the pass takes, pauses included.
heat_input        | J/mm  | 0 .. 1e6      | Energy sent to each millimetre of seam.
heat_taken_up     | J/mm  | 0 .. 1e6      | Energy that each millimetre of seam takes up.
penetration       | mm    | 0 .. 100      | Depth of the melted metal; of a joint section, length of
                  the joint line that is melted in both members.
penetration_fraction | %  | 0 .. 10000    | Depth of the melted metal as a share of the wall; more
                  than all of it is possible in a plate thicker than the tube.
penetration_interval | mm | 0 .. 100      | Range in which the depth is expected to lie.
fusion_width      | mm    | 0 .. 100      | Width of the melted metal at the top.
guaranteed_penetration | mm | 0 .. 100    | Depth of the melted metal half a pitch from the pulse,
                  the least along the seam.
fusion_width_interval | mm | 0 .. 100     | Range in which the width at the top is expected to lie.
root_width_interval | mm | 0 .. 100       | Range in which the width on the far side is expected to
                  lie.
haz_width_interval | mm  | 0 .. 100       | Range in which the heat-affected width should lie.
middle_width      | mm    | 0 .. 100      | Width of the melted metal at half the wall.
root_width        | mm    | 0 .. 100      | Width of the melted metal on the far side.
haz_width         | mm    | 0 .. 100      | Width of the heat-affected metal on each side.
widest_haz_width  | mm    | 0 .. 100      | The same where it is widest along the seam.
mode              | text  |               | How the weld forms: conduction, transition or keyhole.
engine            | text  |               | Which of the two heat-flow engines it was: spot or
                  section.
absorbed_share    | %     | 0 .. 100      | Share of each member in the energy that is taken up.
fused_area        | mm2   | 0 .. 1e4      | Melted area of each member in the section.
absorptance       | %     | 0 .. 100      | Share of the pulse that the metal takes up.
peak_part_temperature | degC | -50 .. 5000 | Hottest the part becomes as a whole, off the weld.
findings          | text  |               | What to look at, the gravest first.
absorbed_energy   | J     | 0 .. 1000     | Energy of a pulse that the metal takes up.
transmitted_energy | J    | 0 .. 1000     | Energy of a pulse that leaves by an opened far side.
lost_energy       | J     | 0 .. 1000     | Energy that leaves by evaporation and glow.
cooling_rate      | K/s   | 0 .. 1e9      | How fast the metal cools as it sets; a rough figure.
solidification_time | ms  | 0 .. 1e5      | Time the metal takes to set.
time_to_melt      | ms    | 0 .. 1000     | Time until the surface melts.
time_to_keyhole   | ms    | 0 .. 1000     | Time until the vapour depression opens.
depression_depth  | mm    | 0 .. 100      | Depth of the vapour depression.
peak_temperature  | degC  | -50 .. 10000  | Hottest temperature reached.
temperature_rise  | K     | 0 .. 10000    | Rise above the starting temperature.
seam_preheat      | degC  | -50 .. 5000   | Temperature at the spot just before a pulse.
energy_taper      | %     | 0 .. 100      | Share by which the energy is lowered round the joint.
end_ramp          | %     | 0 .. 100      | Share of the energy that the very last pulse keeps.
place             | mm    | 0 .. 1e6      | Distance along the seam from its start.
angle             | deg   | 0 .. 1e6      | Angle welded so far.
time              | s     | 0 .. 1e8      | Time since the first pulse of the schedule.
part_temperature  | degC  | -50 .. 5000   | Temperature of the part beside the weld, averaged along
                  the seam.
least_ligament    | mm    | 0 .. 100      | Least fused metal through the wall, half a pitch from a
                  pulse.
least_root_width  | mm    | 0 .. 100      | Width of the melted metal on the far side between two
                  pulses, its least along the seam.
largest_pitch     | mm    | 0 .. 100      | Largest pulse pitch that still meets the goals.
largest_travel_speed | mm/s | 0 .. 1e4    | Travel speed at that pitch.
keyhole_irradiance | W/mm2 | 0 .. 1e9     | Irradiance from which the vapour depression opens.
remelt_depth      | mm    | 0 .. 100      | Depth to which a later pass melts the first pass again.
joint_margin      | mm    | -100 .. 100   | How far the fused metal reaches past the far edge of the
                  joint, midway between two pulses and down to the depth asked for.
cover_margin      | mm    | -100 .. 100   | How far the later pass reaches past the fused metal of
                  the first pass on the narrower side.
underfill         | mm    | 0 .. 10       | Depth by which the weld stays below the surface.
below_higher_edge | mm    | 0 .. 10       | Depth of the middle of the face below the higher of its
                  edges, gap and mismatch at their largest.
largest_gap       | mm    | 0 .. 5        | Largest gap that still meets the limit on underfill.
stacked_gap       | mm    | 0 .. 20       | Largest gap round a joint, from the tolerances of its
                  parts.
worst_gap         | mm    | 0 .. 20       | Stacked gap with every tolerance at its limit, the same
                  way.
root_sum_square_gap | mm  | 0 .. 20       | Stacked gap with the root of the sum of the squares.
gap_within_95     | mm    | 0 .. 20       | Stacked gap that 95 % of the joints stay within, all
                  round.
share_above_gap   | %     | 0 .. 100      | Share of joints whose stacked gap exceeds the gap that
                  [joint] states.
share_above_largest_gap | % | 0 .. 100    | Share of joints whose stacked gap exceeds the largest
                  that meets the limit on underfill.
throat            | mm    | 0 .. 100      | Thickness of the weld where it is thinnest.
time_above_shielding | s  | 0 .. 1e5      | Time the metal stays too hot to leave the gas.
shielded_length   | mm    | 0 .. 10000    | Length of hot metal behind the spot that needs gas.
shielded_width    | mm    | 0 .. 1000     | Width of hot metal that needs gas.
purge_time        | s     | 0 .. 1e6      | Least time of purging before welding starts.
volume_changes    | number | 0 .. 1e6     | How often the gas in the space is exchanged.
room_volume       | m3    | 0.1 .. 1e6    | Volume of air in the room.
room_oxygen       | %     | 0 .. 25       | Oxygen in the air of the room.
gas_released      | L     | 0 .. 1e6      | Gas set free during the job.
exposure_limit    | J/m2  | 0 .. 1e9      | Most light that an eye may receive from one pulse.
exposure_time     | s     | 1e-9 .. 30000 | Time that an eye may be in the beam.
hazard_distance   | m     | 0 .. 1e6      | Distance inside which the beam can hurt an eye.
optical_density   | number | 0 .. 20      | Optical density that the eyewear must have at least.

[coupons]
undercut          | mm    | 0 .. 10       | Deepest groove melted into the metal beside the weld.
excess_metal      | mm    | 0 .. 10       | Height of the weld above the surface.
root_concavity    | mm    | 0 .. 10       | Deepest hollow of the weld on its far side.
pore_diameter     | mm    | 0 .. 10       | Diameter of the largest pore seen in the section.
vickers_hardness  | number | 30 .. 2000   | Vickers hardness number (HV), the highest found.
tensile_strength  | MPa   | 1 .. 3000     | Strength of a tensile test across the weld.
"""
