-- What Ardour does with the plugin in a session: see vst3_ardour.py, which runs this and judges the files.
-- Arguments are environment variables: SESSION is the session's folder, TURN is 'make' or 'load'. Each turn prints 'ok' at its end.

local folder, turn = os.getenv("SESSION"), os.getenv("TURN")
-- In the parameter's own unit, dB.
local GAIN, GAIN_SET = "Left line gain", -6.5

local backend = AudioEngine:set_backend("None (Dummy)", "", "")
backend:set_device_name("Uniform White Noise")
backend:set_buffer_size(256)

local function wait(seconds)
	ARDOUR.LuaAPI.usleep(math.floor(seconds * 1e6))
end

-- No timed assertion: a busy machine may take up to a minute.
local function wait_for(what, holds)
	for _ = 1, 600 do
		if holds() then
			return
		end
		wait(0.1)
	end
	error(what .. " did not come true in a minute")
end

-- The number of a parameter among those of the plugin, by its name.
local function number_of(plugin, name)
	for i = 0, plugin:parameter_count() - 1 do
		if plugin:parameter_label(i) == name then
			return i
		end
	end
	error("there is no parameter '" .. name .. "'")
end

local function value_of(processor, number)
	local value, known = ARDOUR.LuaAPI.get_processor_param(processor, number, 0)
	assert(known, "the value can't be read")
	return value
end

local function insert(session, track, name)
	local processor = ARDOUR.LuaAPI.new_plugin(session, name, ARDOUR.PluginType.VST3, "")
	assert(not processor:isnil(), name .. " is not found")
	assert(track:add_processor_by_index(processor, 0, nil, true) == 0, name .. " is not taken in")
	assert(processor:to_insert():active(), name .. " is not active")
	return processor
end

local function make()
	local session = create_session(folder, "session", 48000)
	assert(session, "no session")
	local tracks = session:new_audio_track(2, 2, nil, 1, "T", ARDOUR.PresentationInfo.max_order, ARDOUR.TrackMode.Normal, true)
	local track = tracks:front()

	-- Noise is recorded without the plugin.
	for channel = 0, 1 do
		track:input():audio(channel):connect("system:capture_" .. (channel + 1))
	end
	local alone = PBD.GroupControlDisposition.NoGroup
	track:rec_enable_control():set_value(1, alone)
	session:maybe_enable_record(true)
	session:request_roll(ARDOUR.TransportRequestSource.TRS_UI)
	wait_for("a second and a half recorded", function()
		return session:transport_sample() > 72000
	end)
	session:request_stop(false, false, ARDOUR.TransportRequestSource.TRS_UI)
	wait_for("a stop", function()
		return not session:transport_rolling()
	end)
	session:disable_record(true)
	track:rec_enable_control():set_value(0, alone)
	wait_for("a region", function()
		return track:playlist():region_list():size() == 1
	end)

	-- Then it is bounced through it, and again with the side-chain plugin behind it.
	local processor = insert(session, track, "Sumproof")
	local function bounce(name)
		local region = track:bounce_range(0, 48000, ARDOUR.InterThreadInfo(), track:main_outs(), false, name)
		assert(not region:isnil() and region:length():samples() == 48000, "nothing is bounced")
	end
	bounce("plain")
	local behind = insert(session, track, "Sumproof Side-chain")
	bounce("both")

	-- This proves the bounces above: a plugin in the track does change a bounce.
	local louder = ARDOUR.LuaAPI.new_luaproc(session, "ACE Amplifier")
	assert(track:add_processor_by_index(louder, 0, nil, true) == 0, "the amplifier is not taken in")
	assert(ARDOUR.LuaAPI.set_processor_param(louder, 0, 6), "the amplifier can't be set")
	bounce("louder")
	assert(track:remove_processor(louder, nil, true) == 0, "the amplifier can't be taken out")

	-- A value is set, and stays while the engine runs.
	local plugin = processor:to_insert():plugin(0)
	local gain = number_of(plugin, GAIN)
	assert(ARDOUR.LuaAPI.set_processor_param(processor, gain, GAIN_SET), "the value can't be set")
	wait(0.5)
	assert(math.abs(value_of(processor, gain) - GAIN_SET) < 1e-6, "the value became " .. value_of(processor, gain))
	bounce("set")

	-- The plugin is switched off and on, and removed.
	processor:deactivate()
	wait(0.2)
	processor:activate()
	assert(track:remove_processor(behind, nil, true) == 0, "it can't be taken out")
	wait(0.2)
	session:save_state("")
	print(plugin:parameter_count() .. " parameters")
end

local function load()
	local session = load_session(folder, "session")
	assert(session, "the session can't be loaded")
	local track = session:route_by_name("T")
	local processor = track:nth_plugin(0)
	assert(not processor:isnil() and processor:to_insert():plugin(0):name() == "Sumproof", "the plugin is not there")
	assert(track:nth_plugin(1):isnil(), "what was taken out is back")
	local gain = number_of(processor:to_insert():plugin(0), GAIN)
	assert(math.abs(value_of(processor, gain) - GAIN_SET) < 1e-6, "the value came back as " .. value_of(processor, gain))
end

if turn == "make" then
	make()
else
	load()
end
close_session()
print("ok")
