# PROJ allows it, in lumps of CMake's own size: its lists name the files that cannot be lumped together,
# and larger lumps do not compile.
set(CMAKE_UNITY_BUILD ON)
set(PROJ_C_WARN_FLAGS "-w" CACHE STRING "")
set(PROJ_CXX_WARN_FLAGS "-w" CACHE STRING "")
