// Photos dropped or chosen go to the server one after the other, as they are; it names and checks
// them. What has arrived is in the job at once, so that a reload loses only what is on its way.
export default {
  template: `
    <div class="fk-drop" :class="{'fk-over': over}" :data-busy="busy" :data-sent="sent"
         @dragenter.prevent="over = true" @dragover.prevent="over = true" @dragleave.prevent="over = false"
         @drop.prevent="drop">
      <label class="fk-first"><input type="file" multiple :accept="accept" @change="choose" :disabled="busy"><span>{{ filesWords }}</span></label>
      <label v-if="folderWords"><input type="file" webkitdirectory @change="choose" :disabled="busy"><span>{{ folderWords }}</span></label>
      <span role="status">{{ told }}</span>
    </div>`,
  props: { address: String, accept: String, filesWords: String, folderWords: String, idle: String },
  data() { return { over: false, busy: false, told: this.idle, sent: 0 }; },
  methods: {
    choose(event) { const files = [...event.target.files]; event.target.value = ""; this.send(files); },
    async drop(event) {
      this.over = false;
      const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
      const files = [];
      for (const entry of entries) await this.gather(entry, files);
      this.send(files.length ? files : [...event.dataTransfer.files]);
    },
    async gather(entry, files) {
      if (entry.isFile) { files.push(await new Promise((found, failed) => entry.file(found, failed))); return; }
      const reader = entry.createReader();
      for (;;) { // a reader hands out a hundred at a time
        const some = await new Promise((found, failed) => reader.readEntries(found, failed));
        if (!some.length) return;
        for (const one of some) await this.gather(one, files);
      }
    },
    async send(files) {
      if (this.busy || !files.length) return;
      this.busy = true;
      const refused = [];
      let taken = 0;
      for (const [index, file] of files.entries()) {
        if (file.name.startsWith(".")) continue;
        this.told = `${index + 1} of ${files.length}`;
        try {
          const answer = await fetch(this.address, { method: "POST", body: file, headers: { "content-type": "application/octet-stream" } });
          const { refused: why } = answer.ok ? await answer.json() : { refused: await answer.text() };
          if (why) refused.push(`${file.name}: ${why}`); else taken += 1;
        } catch (error) { refused.push(`${file.name}: it could not be sent.`); }
      }
      this.busy = false;
      this.sent += taken;
      this.told = this.idle;
      this.$emit("sent", { taken, refused });
    },
  },
};
