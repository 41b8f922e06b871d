"""Names of the filter's states, and of the columns of a block's trace and surroundings."""

from __future__ import annotations

N = 9  # error states: attitude 0-2, bias 3-5, velocity 6-7, disturbance 8
MEASUREMENTS = 6  # velocity 2, bias at rest 3, heading 1
GRAVITY = 9.81  # m/s²
# State vector: quaternion 0-3, bias 4-6, velocity 7-8, disturbance 9.
STATE = 10
# Columns of a block's trace, all that the smoother and the next pass need.
TRACE_A = 0  # 9: T R̄ in the earth frame
TRACE_F = 9  # 3: T f̄ in the earth frame
TRACE_DECAY = 12
TRACE_V2 = 13  # squared predicted velocity
TRACE_UP = 14  # upward part of the field
TRACE_HEADING = 15  # 2: what a tilt about east and about north does to the magnetic heading
TRACE_GAIN = 17  # 54: gain of each measurement
TRACE_SCALED = 71  # 6: innovation over its variance; 0 where not taken
TRACE_USED = 77  # 6: 1 where the measurement was taken
TRACE_DEVIATION = 83  # mean squared deviation of the field
TRACE_SHIFT = 84  # squared deviation of the block's mean field
TRACE_MAGNET = 85  # 1 where a magnet on the sensor was taken off the field
TRACE_LEVELLED = 86  # 1 where the attitude was levelled again at the block's end
TRACE = 87
# What is known of motion and field about a block.
ABOUT_V2 = 0  # mean square velocity
ABOUT_DEVIATION = 1  # the field's mean squared deviation
ABOUT_STAY = 2  # correlation of the disturbance with that one block before
ABOUT_SHIFT = 3  # mean of TRACE_SHIFT
ABOUT_CHANGE = 4  # half of the mean squared change of the field from block to block
ABOUT_NORM = 5  # field's norm in the last block, 0 before the first
ABOUT_UP = 6  # its upward part
ABOUT_CENTRED = 7  # 1 where the means lie about the block, 0 where they run along with the past
ABOUT_FORCE = 8  # 3: sum of the specific force in the earth frame, falling off with age, m/s
ABOUT_SPAN = 11  # seconds behind it
ABOUT_DOUBT = 12  # seconds for which the heading is in doubt and the field is not
ABOUT = 13
