# PROJ allows it: files that cannot be lumped together are named in its own lists.
set(CMAKE_UNITY_BUILD ON)
set(CMAKE_UNITY_BUILD_BATCH_SIZE 16)
set(PROJ_C_WARN_FLAGS "-w" CACHE STRING "")
set(PROJ_CXX_WARN_FLAGS "-w" CACHE STRING "")
