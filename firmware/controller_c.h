/* C face of the control core, for hosts that load it as a shared library. Every function is total; sizes are in bytes. */
#ifndef SAGGAR_CONTROLLER_C_H
#define SAGGAR_CONTROLLER_C_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define SAGGAR_CORE_ABI 1u

typedef struct saggar_core saggar_core; /* storage of saggar_core_size() bytes, 16-byte aligned, owned by the caller */

uint32_t saggar_core_abi(void);   /* SAGGAR_CORE_ABI of the library */
size_t saggar_core_size(void);    /* bytes of state; state may be copied with memcpy between calls */
void saggar_core_start(saggar_core* core, const uint8_t* store_image, size_t store_size, uint8_t reset_cause,
                       uint32_t outage_s);
void saggar_core_receive(saggar_core* core, uint8_t port, const uint8_t* bytes, size_t size, uint64_t arrival_us);
void saggar_core_step(saggar_core* core, uint64_t now_us);
size_t saggar_core_transmit(saggar_core* core, uint8_t port, uint8_t* buffer, size_t capacity);
/* Returns the byte count (0: nothing pending, at most 64) and the offset in the store. */
size_t saggar_core_store(saggar_core* core, uint32_t* offset, uint8_t* buffer, size_t capacity);
/* 1 once FW_CHECK has latched (safe outputs for ever), else 0. */
uint8_t saggar_core_latched(const saggar_core* core);

#ifdef __cplusplus
}
#endif
#endif
