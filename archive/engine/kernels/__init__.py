"""Numba passes that operators are lowered to: float32, row ranges, no parallel sums, no paths.

Every kernel writes rows ``first`` to ``last`` of its output from inputs that no other row range changes, so
that a picture is the same whatever the number of threads. Import kernels only after ``cachedir`` has said
where compiled code may lie; ``kernels.compiled`` does.
"""
