"""The wire from the car to the ground station, for firmware in MicroPython.

Generated from protocol/frames.toml by `python -m protocol.generate`: do not edit.
The specification is protocol/WIRE.md. Arguments are whole numbers; a name that ends with _x100
counts hundredths of the unit before it. What is left out, or None, is "not measured".

    encoder = Encoder(vehicle=1)
    uart.write(encoder.motion(clock_us, speed_mps_x100=4250))

The clock counts microseconds and wraps at 2**32. `time.ticks_us()` wraps earlier on most boards,
so add up its steps, at least once a minute:

    now = time.ticks_us()
    clock_us += time.ticks_diff(now, last)
    last = now
"""

import struct

WIRE_VERSION = 1
MAX_PAYLOAD_BYTES = 54  # 64 with header and 2 bytes of CRC
MOTION_FLAGS_FAILSAFE_ACTIVE = 0x01
MOTION_FLAGS_STABILISER_ON = 0x02
MOTION_FLAGS_BRAKE_ON = 0x04
MOTION_FLAGS_SENSOR_CLIPPED = 0x08


def crc16(data):
    """Return the CRC-16/IBM-3740: 0x29B1 for b"123456789"."""
    crc = 0xFFFF
    for byte in data:
        x = (crc >> 8) ^ byte
        x ^= x >> 4
        crc = ((crc << 8) ^ (x << 12) ^ (x << 5) ^ x) & 0xFFFF
    return crc


def stuff(frame):
    """Return the COBS block of a frame shorter than 254 bytes, with its delimiter."""
    block = bytearray(1)
    code_at = 0
    for byte in frame:
        if not byte:
            block[code_at] = len(block) - code_at
            code_at = len(block)
        block.append(byte)
    block[code_at] = len(block) - code_at
    block.append(0)
    return bytes(block)


def _clamp(raw, low, high, unknown):
    if raw is None or raw == unknown:
        return unknown
    return min(max(raw, low), high)


def _text(text, size):
    data = (text or "").encode().split(b"\0")[0]
    end = min(len(data), size)
    # A character of several bytes is sent whole or not at all.
    while end < len(data) and end > 0 and data[end] & 0xC0 == 0x80:
        end -= 1
    return data[:end] + bytes(size - end)


class Encoder:
    """Encodes the frames of one vehicle and counts them, all kinds together."""

    def __init__(self, vehicle=1, sequence=0):
        self.vehicle = vehicle
        self.sequence = sequence

    def frame(self, kind, clock_us, payload):
        """Return one frame of any kind, also one of your own (0x80 to 0xFE)."""
        if len(payload) > MAX_PAYLOAD_BYTES:
            raise ValueError("payload too long")
        clock_us &= 0xFFFFFFFF
        body = struct.pack("<BBHI", kind, self.vehicle, self.sequence, clock_us) + payload
        self.sequence = (self.sequence + 1) & 0xFFFF
        return stuff(body + struct.pack(">H", crc16(body)))

    def motion(
        self,
        clock_us,
        *,
        speed_mps_x100=None,  # 0 to 655 m/s
        yaw_rate_dps_x10=None,  # -3276 to 3276 deg/s
        accel_x_g_x1000=None,  # -32.7 to 32.7 g
        accel_y_g_x1000=None,  # -32.7 to 32.7 g
        accel_z_g_x1000=None,  # -32.7 to 32.7 g
        accel_z_max_g_x100=None,  # -327 to 327 g
        accel_z_min_g_x100=None,  # -327 to 327 g
        clipped_samples=None,  # 0 to 254
        steering_percent_x100=None,  # -100 to 100 %
        correction_percent_x100=None,  # -100 to 100 %
        throttle_percent=None,  # -100 to 100 %
        flags=None,  # 0 to 127
    ):
        """Return one motion frame.

        What the car does: wheel speed, yaw rate, acceleration, controls.
        """
        payload = struct.pack(
            "<HhhhhhhBhhbB",
            _clamp(speed_mps_x100, 0, 65500, 65535),
            _clamp(yaw_rate_dps_x10, -32760, 32760, -32768),
            _clamp(accel_x_g_x1000, -32700, 32700, -32768),
            _clamp(accel_y_g_x1000, -32700, 32700, -32768),
            _clamp(accel_z_g_x1000, -32700, 32700, -32768),
            _clamp(accel_z_max_g_x100, -32700, 32700, -32768),
            _clamp(accel_z_min_g_x100, -32700, 32700, -32768),
            _clamp(clipped_samples, 0, 254, 255),
            _clamp(steering_percent_x100, -10000, 10000, -32768),
            _clamp(correction_percent_x100, -10000, 10000, -32768),
            _clamp(throttle_percent, -100, 100, -128),
            _clamp(flags, 0, 127, 255),
        )
        return self.frame(0x01, clock_us, payload)

    def fix(
        self,
        clock_us,
        *,
        latitude_deg_x10000000=None,  # -90 to 90 deg
        longitude_deg_x10000000=None,  # -180 to 180 deg
        ground_speed_mps_x100=None,  # 0 to 655 m/s
        course_deg_x100=None,  # 0 to 359.99 deg
        speed_accuracy_mps_x100=None,  # 0 to 655 m/s
        horizontal_accuracy_m_x100=None,  # 0 to 655 m
        satellites=None,  # 0 to 254
        fix_type=None,  # 0 to 5
    ):
        """Return one fix frame.

        What the satellite receiver says.
        """
        payload = struct.pack(
            "<iiHHHHBB",
            _clamp(latitude_deg_x10000000, -900000000, 900000000, -2147483648),
            _clamp(longitude_deg_x10000000, -1800000000, 1800000000, -2147483648),
            _clamp(ground_speed_mps_x100, 0, 65500, 65535),
            _clamp(course_deg_x100, 0, 35999, 65535),
            _clamp(speed_accuracy_mps_x100, 0, 65500, 65535),
            _clamp(horizontal_accuracy_m_x100, 0, 65500, 65535),
            _clamp(satellites, 0, 254, 255),
            _clamp(fix_type, 0, 5, 255),
        )
        return self.frame(0x02, clock_us, payload)

    def radio(
        self,
        clock_us,
        *,
        control_rssi_dbm_x10=None,  # -200 to 100 dBm
        control_snr_db_x10=None,  # -100 to 100 dB
        control_received_percent=None,  # 0 to 100 %
        control_signal_raw=None,  # 0 to 65534
        antenna=None,  # 0 to 254
        failsafe_count=None,  # 0 to 65534
    ):
        """Return one radio frame.

        The control link (transmitter to car) as the car's receiver measures it.
        """
        payload = struct.pack(
            "<hhBHBH",
            _clamp(control_rssi_dbm_x10, -2000, 1000, -32768),
            _clamp(control_snr_db_x10, -1000, 1000, -32768),
            _clamp(control_received_percent, 0, 100, 255),
            _clamp(control_signal_raw, 0, 65534, 65535),
            _clamp(antenna, 0, 254, 255),
            _clamp(failsafe_count, 0, 65534, 65535),
        )
        return self.frame(0x03, clock_us, payload)

    def power(
        self,
        clock_us,
        *,
        pack_voltage_v_x100=None,  # 0 to 655 V
        pack_current_a_x10=None,  # -3276 to 3276 A
        controller_temperature_c_x10=None,  # -100 to 300 deg C
    ):
        """Return one power frame.

        Pack and speed controller.
        """
        payload = struct.pack(
            "<Hhh",
            _clamp(pack_voltage_v_x100, 0, 65500, 65535),
            _clamp(pack_current_a_x10, -32760, 32760, -32768),
            _clamp(controller_temperature_c_x10, -1000, 3000, -32768),
        )
        return self.frame(0x04, clock_us, payload)

    def ident(
        self,
        clock_us,
        *,
        vehicle_name=None,  # text, 16 bytes of UTF-8
        firmware=None,  # text, 12 bytes of UTF-8
        wire_version=None,  # 0 to 254
        accel_full_scale_g_x10=None,  # 0 to 6553 g
        gyro_full_scale_dps=None,  # 0 to 65534 deg/s
        control_sensitivity_dbm_x10=None,  # -200 to 100 dBm
        control_transmit_power_dbm_x10=None,  # -100 to 100 dBm
        boot_count=None,  # 0 to 65534
    ):
        """Return one ident frame.

        Who the car is and how its sensors and its radio are set.
        """
        payload = struct.pack(
            "<16s12sBHHhhH",
            _text(vehicle_name, 16),
            _text(firmware, 12),
            _clamp(wire_version, 0, 254, 255),
            _clamp(accel_full_scale_g_x10, 0, 65530, 65535),
            _clamp(gyro_full_scale_dps, 0, 65534, 65535),
            _clamp(control_sensitivity_dbm_x10, -2000, 1000, -32768),
            _clamp(control_transmit_power_dbm_x10, -1000, 1000, -32768),
            _clamp(boot_count, 0, 65534, 65535),
        )
        return self.frame(0x05, clock_us, payload)
