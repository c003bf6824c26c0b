#pragma once
unsigned int irq_lock(void);
void irq_unlock(unsigned int key);
void nrfx_isr(void const *handler);
#define IRQ_CONNECT(line, priority, isr, parameter, flags) ((void)(line), (void)(priority), (isr)((void const *)(parameter)))
