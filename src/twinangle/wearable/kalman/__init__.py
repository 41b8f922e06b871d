"""Error-state Kalman filter and smoother for the orientation of one inertial sensor."""

from twinangle.wearable.kalman.parameters import KalmanParameters

__all__ = ["KalmanParameters"]
