/* PortAudio's WASAPI part with the headers that it includes itself for one other compiler alone. */
#define COBJMACROS
#include <windows.h>
#include <mmreg.h>
#include <avrt.h>
#include <audioclient.h>
#include <endpointvolume.h>
#define INITGUID /* the identifiers are defined here, not in a library */
#include <initguid.h>
#include <mmdeviceapi.h>
#include <functiondiscoverykeys_devpkey.h>
#include <devicetopology.h>
#undef INITGUID
#include <pa_win_wasapi.c>
