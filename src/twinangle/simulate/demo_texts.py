"""The texts of the invented study: its study file and its readme."""

MARK = "Ridge path study: an invented study written by twinangle"

README = (
    MARK
    + """

Everything here is invented. The signals were computed by a simulation of two rigid segments
(seed {seed}); no person was recorded. Names, places, ages and values stand for nobody and nothing.

study.toml     what the columns mean and how to analyse them
trials.csv     one row a recording
wearable/      two inertial sensors, thigh and shank, 100 samples a second, on the logger's clock
reference/     knee flexion of a reference instrument, on a clock of its own; indoors only
truth/         what no instrument knows: true knee flexion, lag, drift, initial contacts, turns,
               per-cycle SD, how each sensor was turned on its segment

Each trial: neutral standing, five flexions of the lifted knee, then walking. Indoors is a sports
hall with iron in the floor and a turn every dozen metres, outdoors a gravel path with a clean
magnetic field and a turn every forty metres.

What was built in, so that an analysis can be seen to find it
- Indoors everyone stands on a steel hatch before walking off. It turns the magnetic field at the
  shank by about 50° and at the thigh by about 6°, and neither its strength nor its dip tells. Of
  the two procedures, kalman-two-sensors holds the sensors' headings together by the motion of the
  knee they share and judges the recording as a whole; kalman-forward trusts each sensor's own
  field as it comes, as a display during the walk must.
- The reference's zero was not set to neutral standing: it reads some 3.5° too much. The report
  says what part of the offset that is.
- The path is shorter than the walk in the hall, so that there are fewer cycles outdoors.
- The fourth participant's logger lost 0.64 s of rows indoors.
- The fifth participant's walk outdoors was broken off: its row has a reason in the column `exclude`
  and is not analysed.
- The sixth participant walks slowly and with a stiff knee. That is a way to walk and no fault of a
  recording.

Cautions
- A simulation flatters: its skin moves by a known little, its knee is nearly a hinge, its floor
  is a simple one. How well an analysis does here says little about how it does on people.
- The reference has errors of its own (gain, offset, slow drift, noise), as any real one does.
  A difference is not all the wearable's.
- Six participants are too few for firm limits of agreement. The intervals say so.
- This is a research tool and no medical device; nothing here informs the care of anyone.
"""
)

STUDY = """\
# Invented data: computed by a simulation, no person was recorded. See README.txt.
[study]
title = "Ridge path study (invented)"
joint = "knee"
trials = "trials.csv"            # one row a recording
invented = true                  # the report and its methods text say so

[wearable]
kind = "inertial"                # raw signals of two sensors
time = "time_s"
gyroscope_sample = "instantaneous"   # the rate at the sample, not the mean since the last one
# Both are put to the test: both sensors' headings held together afterwards, and each sensor by
# its own magnetic field as it comes. The report's main numbers are those of the first.
procedures = ["kalman-two-sensors", "kalman-forward"]

[wearable.proximal]              # thigh
accelerometer = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]
gyroscope     = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]
magnetometer  = ["thigh_mag_x", "thigh_mag_y", "thigh_mag_z"]

[wearable.distal]                # shank
accelerometer = ["shank_acc_x", "shank_acc_y", "shank_acc_z"]
gyroscope     = ["shank_gyr_x", "shank_gyr_y", "shank_gyr_z"]
magnetometer  = ["shank_mag_x", "shank_mag_y", "shank_mag_z"]

[wearable.units]
accelerometer = "m/s^2"
gyroscope = "rad/s"
magnetometer = "uT"

[reference]                      # worn indoors only
kind = "angle"
time = "time_s"
angle = "knee_deg"
unit = "deg"
gain = 1.0
offset = 0.0                     # its zero was not set to neutral standing: some degrees off
sign = 1                         # flexion is positive in the file

[synchronisation]
method = "cross-correlation"     # two clocks that share nothing but the movement
max_lag_s = 30.0
drift = true

[cycles]
method = "shank-gyroscope"

[agreement]
confidence = 0.95
acceptable_deg = 5.0             # set before looking at the results
"""
